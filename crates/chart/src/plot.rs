//! A line with its band, points with their error bars, ranges on the horizontal axis.

use crate::scale::{Scale, nice_ticks};
use crate::svg::Svg;

/// One measured point.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Horizontal value.
    pub x: f64,
    /// Vertical value.
    pub y: f64,
    /// Half length of the error bar; 0 draws none.
    pub error: f64,
    /// What stands beside the point.
    pub label: String,
    /// Class of the point: how the page colours it.
    pub class: &'static str,
}

/// A range of the horizontal axis drawn as a band from top to bottom, with words at its head.
#[derive(Clone, Debug, PartialEq)]
pub struct Range {
    /// Left and right end.
    pub ends: (f64, f64),
    /// Where a full line stands in it, if anywhere.
    pub line: Option<f64>,
    /// Class of the band.
    pub class: &'static str,
    /// Words at its head.
    pub words: String,
}

/// A drawing of one quantity against another.
#[derive(Clone, Debug)]
pub struct Plot {
    /// Width and height, units of the drawing.
    pub size: (f64, f64),
    /// The spoken description.
    pub label: String,
    /// What the vertical axis counts, such as `rpm`.
    pub y_unit: &'static str,
    /// What the horizontal axis counts.
    pub x_unit: String,
    /// Where the horizontal axis is marked, and what it says there.
    pub x_ticks: Vec<(f64, String)>,
    /// Words at the left and the right foot.
    pub sides: (&'static str, &'static str),
    /// The line.
    pub line: Vec<(f64, f64)>,
    /// The band about it: horizontal value, low, high.
    pub band: Vec<(f64, f64, f64)>,
    /// The points.
    pub marks: Vec<Mark>,
    /// The ranges, drawn beneath everything else.
    pub ranges: Vec<Range>,
    /// The shortest vertical span shown, so that noise is never blown up to a mountain.
    pub least_span: f64,
}

/// Room left of, above, right of and below the field.
const MARGIN: [f64; 4] = [54.0, 34.0, 16.0, 48.0];

impl Plot {
    /// Draws it.
    pub fn svg(&self) -> String {
        let (width, height) = self.size;
        let (left, top, right, bottom) = (MARGIN[0], MARGIN[1], width - MARGIN[2], height - MARGIN[3]);
        let (x_low, x_high) = self.x_range();
        let (y_low, y_high) = self.y_range();
        let x = Scale::new((x_low, x_high), (left, right));
        let y = Scale::new((y_low, y_high), (bottom, top));
        let mut svg = Svg::new([0.0, 0.0, width, height], "plot", &self.label);

        for range in &self.ranges {
            let (from, to) = (x.place(range.ends.0).max(left), x.place(range.ends.1).min(right));
            svg.rect(range.class, (from, top), to - from, bottom - top);
        }
        for tick in nice_ticks(y_low, y_high, 4) {
            svg.line("grid", (left, y.place(tick)), (right, y.place(tick)));
            svg.text("axis", (left - 8.0, y.place(tick) + 5.0), "end", &format!("{tick:.0}"));
        }
        svg.text("axis unit", (left - 8.0, top - 16.0), "end", self.y_unit);
        for (value, words) in &self.x_ticks {
            if x_low <= *value && *value <= x_high {
                svg.line("tick", (x.place(*value), bottom), (x.place(*value), bottom + 6.0));
                svg.text("axis", (x.place(*value), bottom + 24.0), "middle", words);
            }
        }
        svg.text("axis unit", (right, height - 6.0), "end", &self.x_unit);
        svg.text("side", (left + 6.0, bottom - 8.0), "start", self.sides.0);
        svg.text("side", (right - 6.0, bottom - 8.0), "end", self.sides.1);

        let inside = |value: f64| value.clamp(y_low, y_high);
        let upper = self.band.iter().map(|b| (x.place(b.0), y.place(inside(b.2))));
        let lower = self.band.iter().rev().map(|b| (x.place(b.0), y.place(inside(b.1))));
        svg.polygon("band", &upper.chain(lower).collect::<Vec<_>>());
        let shown = self.line.iter().filter(|point| y_low <= point.1 && point.1 <= y_high);
        svg.polyline("fit", &shown.map(|p| (x.place(p.0), y.place(p.1))).collect::<Vec<_>>());

        for range in &self.ranges {
            if let Some(value) = range.line {
                svg.line("range-line", (x.place(value), top), (x.place(value), bottom));
            }
            if !range.words.is_empty() {
                let middle = x.place(range.line.unwrap_or((range.ends.0 + range.ends.1) / 2.0));
                let anchor = if middle < width * 0.35 {
                    "start"
                } else if middle < width * 0.68 {
                    "middle"
                } else {
                    "end"
                };
                svg.text("range-words", (middle, top - 10.0), anchor, &range.words);
            }
        }
        for mark in &self.marks {
            let at = (x.place(mark.x), y.place(mark.y));
            if 0.0 < mark.error {
                let ends = (y.place(inside(mark.y - mark.error)), y.place(inside(mark.y + mark.error)));
                svg.line("error", (at.0, ends.0), (at.0, ends.1));
            }
            svg.circle(mark.class, at, 5.5);
            svg.text("mark-label", (at.0 + 9.0, at.1 + 17.0), "start", &mark.label);
        }
        svg.finish()
    }

    fn x_range(&self) -> (f64, f64) {
        let values = self.marks.iter().map(|mark| mark.x).chain(self.line.iter().map(|point| point.0));
        padded(values, 0.5, 0.02)
    }

    fn y_range(&self) -> (f64, f64) {
        // The marks and the line set the range; a wide band far from any reading may leave it.
        let marks = self.marks.iter().flat_map(|mark| [mark.y - mark.error, mark.y + mark.error]);
        padded(marks, self.least_span, 0.12)
    }
}

/// The range of values widened to at least `least` and by a share of itself on both sides.
fn padded(values: impl Iterator<Item = f64>, least: f64, share: f64) -> (f64, f64) {
    let (low, high) = values
        .filter(|value| value.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    if high < low {
        return (0.0, least.max(1.0));
    }
    let missing = (least - (high - low)).max(0.0) / 2.0;
    let (low, high) = (low - missing, high + missing);
    let pad = (high - low) * share;
    (low - pad, high + pad)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plot(marks: Vec<Mark>) -> Plot {
        Plot {
            size: (560.0, 330.0),
            label: "speed against turns".into(),
            y_unit: "rpm",
            x_unit: "turns out".into(),
            x_ticks: vec![(1.0, "1".into()), (2.0, "2".into())],
            sides: ("lean", "rich"),
            line: marks.iter().map(|mark| (mark.x, mark.y)).collect(),
            band: Vec::new(),
            marks,
            ranges: Vec::new(),
            least_span: 60.0,
        }
    }

    #[test]
    fn every_point_is_drawn_inside_the_drawing() {
        let marks: Vec<Mark> = (0..7)
            .map(|index| Mark {
                x: 1.0 + 0.25 * f64::from(index),
                y: 900.0 + 20.0 * f64::from(index),
                error: 4.0,
                label: index.to_string(),
                class: "hold",
            })
            .collect();
        let svg = plot(marks).svg();
        assert_eq!(svg.matches("class=\"hold\"").count(), 7);
        for part in svg.split("cx=\"").skip(1) {
            let cx: f64 = part.split('"').next().and_then(|number| number.parse().ok()).expect("a number");
            assert!((0.0..=560.0).contains(&cx));
        }
    }

    #[test]
    fn no_point_at_all_still_gives_a_drawing() {
        let svg = plot(Vec::new()).svg();
        assert!(svg.starts_with("<svg") && svg.ends_with("</svg>"));
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
    }
}

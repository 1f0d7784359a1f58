//! The one writer of SVG: rounds, escapes, closes.

use std::fmt::Write as _;

/// An SVG document or fragment being written.
pub struct Svg {
    text: String,
    open: Vec<&'static str>,
}

impl Svg {
    /// Begins a document with its view box (left, top, width, height), class and spoken label.
    pub fn new(view_box: [f64; 4], class: &str, label: &str) -> Svg {
        let [left, top, width, height] = view_box.map(rounded);
        let mut svg = Svg { text: String::with_capacity(4096), open: vec!["svg"] };
        let _ = write!(
            svg.text,
            r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="{left} {top} {width} {height}" class="{}" role="img" aria-label="{}">"#,
            escaped(class),
            escaped(label)
        );
        svg
    }

    /// Opens a group with a class and, if not empty, a transform.
    pub fn group(&mut self, class: &str, transform: &str) {
        let _ = write!(self.text, r#"<g class="{}""#, escaped(class));
        if !transform.is_empty() {
            let _ = write!(self.text, r#" transform="{}""#, escaped(transform));
        }
        self.text.push('>');
        self.open.push("g");
    }

    /// Closes the innermost group.
    pub fn end_group(&mut self) {
        if 1 < self.open.len() {
            self.close();
        }
    }

    /// A straight line.
    pub fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        self.empty("line", class, &[("x1", from.0), ("y1", from.1), ("x2", to.0), ("y2", to.1)]);
    }

    /// A circle.
    pub fn circle(&mut self, class: &str, at: (f64, f64), radius: f64) {
        self.empty("circle", class, &[("cx", at.0), ("cy", at.1), ("r", radius)]);
    }

    /// A rectangle from its corner, width and height.
    pub fn rect(&mut self, class: &str, corner: (f64, f64), width: f64, height: f64) {
        let (width, height) = (width.max(0.0), height.max(0.0));
        self.empty("rect", class, &[("x", corner.0), ("y", corner.1), ("width", width), ("height", height)]);
    }

    /// An open line through points.
    pub fn polyline(&mut self, class: &str, points: &[(f64, f64)]) {
        self.path_of(class, points, false);
    }

    /// A closed area through points.
    pub fn polygon(&mut self, class: &str, points: &[(f64, f64)]) {
        self.path_of(class, points, true);
    }

    /// Words at a place; `anchor` is `start`, `middle` or `end`.
    pub fn text(&mut self, class: &str, at: (f64, f64), anchor: &str, words: &str) {
        let (x, y) = (rounded(at.0), rounded(at.1));
        let _ = write!(
            self.text,
            r#"<text class="{}" x="{x}" y="{y}" text-anchor="{}">{}</text>"#,
            escaped(class),
            escaped(anchor),
            escaped(words)
        );
    }

    /// The finished text, every element closed.
    pub fn finish(mut self) -> String {
        while !self.open.is_empty() {
            self.close();
        }
        self.text
    }

    fn close(&mut self) {
        if let Some(name) = self.open.pop() {
            let _ = write!(self.text, "</{name}>");
        }
    }

    fn empty(&mut self, name: &str, class: &str, numbers: &[(&str, f64)]) {
        let _ = write!(self.text, r#"<{name} class="{}""#, escaped(class));
        for (key, value) in numbers {
            let _ = write!(self.text, r#" {key}="{}""#, rounded(*value));
        }
        self.text.push_str("/>");
    }

    fn path_of(&mut self, class: &str, points: &[(f64, f64)], closed: bool) {
        if points.is_empty() {
            return;
        }
        let _ = write!(self.text, r#"<path class="{}" d=""#, escaped(class));
        for (index, (x, y)) in points.iter().enumerate() {
            let step = if index == 0 { 'M' } else { 'L' };
            let _ = write!(self.text, "{step}{},{}", rounded(*x), rounded(*y));
        }
        self.text.push_str(if closed { "Z\"/>" } else { "\"/>" });
    }
}

/// A number to two decimals; what is not finite becomes 0, so that no drawing is ever invalid.
pub fn rounded(value: f64) -> f64 {
    if value.is_finite() { (value * 100.0).round() / 100.0 + 0.0 } else { 0.0 }
}

/// Words with the five characters escaped that would end a text or an attribute.
pub fn escaped(words: &str) -> String {
    let mut out = String::with_capacity(words.len());
    for character in words.chars() {
        match character {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_break_out_of_the_drawing() {
        let mut svg = Svg::new([0.0, 0.0, 10.0, 10.0], "c", "<script>\"'&");
        svg.text("t", (1.0, 2.0), "start", "</text><script>alert(1)</script>");
        let text = svg.finish();
        assert!(!text.contains("<script>"));
        assert!(text.contains("aria-label=\"&lt;script&gt;&quot;&#39;&amp;\""));
    }

    #[test]
    fn every_element_is_closed_and_every_number_finite() {
        let mut svg = Svg::new([0.0, 0.0, 10.0, 10.0], "c", "l");
        svg.group("g", "");
        svg.line("l", (f64::NAN, 1.23456), (f64::INFINITY, -0.001));
        let text = svg.finish();
        assert!(text.ends_with("</g></svg>"));
        assert!(text.contains(r#"x1="0" y1="1.23" x2="0" y2="0""#), "{text}");
    }
}

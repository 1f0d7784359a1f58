use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::practice::voice::{SAMPLE_RATE_HZ, Voice};
use bellmouth_core::practice::{Dice, Population, Started, draw};
use bellmouth_core::sound::{Heard, Listener};
fn main() {
    let hidden = draw(Population::Network, 4001, 30).unwrap();
    for index in [0usize, 5, 8, 11, 16, 19, 20, 28, 29] {
        let h = &hidden[index];
        let seed = 4001 + index as u64;
        let firing = Firing::from(layout("inline-4").unwrap());
        for noise in [0.0, 0.003, 0.01] {
            let voice = Voice::drawn(&firing, &mut Dice::new(seed));
            let s: Vec<String> = voice.strengths.iter().map(|x| format!("{x:.2}")).collect();
            let curve = h.idle_curve().unwrap();
            let best = curve.best().unwrap();
            let rpm0 = best.idle.operation().unwrap().rpm;
            let mut e = Started::hidden(h, voice, best.turns, seed).unwrap();
            let about = (rpm0 / 50.0).round() * 50.0;
            let mut l = Listener::new(SAMPLE_RATE_HZ, &firing, Some(about)).unwrap();
            let mut dice = Dice::new(3);
            let (mut yes, mut doubt, mut no, mut right, mut sum) = (0, 0, 0, 0, 0.0);
            for _ in 0..400 {
                let mut b = [0.0f32; 2400];
                e.sound(&mut b);
                for x in &mut b { *x += (noise * dice.normal()) as f32; }
                for f in l.feed(&b) {
                    match f.heard { Heard::Yes => yes += 1, Heard::Doubtful => doubt += 1, Heard::No => no += 1 }
                    if (f.rpm / rpm0 - 1.0).abs() < 0.04 { right += 1; } else { sum += f.rpm / rpm0; }
                }
            }
            let wrong = yes + doubt + no - right;
            println!("{index} rpm {rpm0:.0} noise {noise} strengths {s:?}: yes {yes} doubtful {doubt} no {no}; right {right}, wrong mean ratio {:.2}", sum / f64::from(wrong.max(1)));
        }
    }
}

use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::practice::Dice;
use bellmouth_core::practice::voice::{Noise, Phone, Room, Running, SAMPLE_RATE_HZ, Speed, Surroundings, Voice};
use bellmouth_core::sound::Listener;
use bellmouth_core::sound::evenness::{Follower, Pulse};

fn main() {
    let mut args = std::env::args().skip(1);
    let first: u64 = args.next().map_or(1, |s| s.parse().unwrap());
    let seeds: u64 = args.next().map_or(2, |s| s.parse().unwrap());
    let only = args.next();
    let voices = ["single","v-twin-45","v-twin-90","twin-360","twin-270","twin-180","triple-120","triple-180","inline-4","flat-4-headers","crossplane-4","v4-360","inline-6","two-stroke-single","two-stroke-twin"];
    for name in voices {
        if only.as_ref().is_some_and(|o| !name.contains(o.as_str())) { continue; }
        for condition in ["clean", "10dB", "room_10dB"] {
            for shared in [false, true] {
            let mut all = [0.0f64; 3];
            let mut line = String::new();
            let mut ms = 0.0;
            let mut secs = 0.0;
            let mut rms = (0.0, 0.0);
            for seed in first..first + seeds {
                let hash = format!("{name}/{condition}#{seed}").bytes().fold(0xCBF2_9CE4_8422_2325_u64, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01B3));
                let mut dice = Dice::new(hash);
                let rpm = dice.between(700.0, 1300.0);
                let seconds = dice.between(10.0, 12.0);
                let running = Running { speed: Speed::Idle { rpm, wander: 0.014, hunting: 0.0 }, variation: dice.between(0.05, 0.15), misfire_share: dice.between(0.05, 0.12), jitter_deg: 2.0 };
                let mut around = Surroundings { high_pass_hz: Some(80.0), ..Default::default() };
                if condition != "clean" { around.noise = Some((Noise::Garage, 10.0)); }
                if condition.contains("room") { around.room = Some(Room { rt60_s: dice.between(0.25, 0.5), direct_db: 4.0 }); }
                let row = layout(if name == "flat-4-headers" { "flat-4" } else { name }).unwrap();
                let firing = Firing::from(row);
                let mut voice = Voice::drawn(&firing, &mut dice);
                if name == "flat-4-headers" { voice.pipes = vec![0,0,1,1]; voice.headers_ms = vec![0.0,0.4,2.2,2.9]; }
                let take = voice.take(&running, seconds, hash ^ 1).unwrap();
                let samples = around.hear(&take.samples, SAMPLE_RATE_HZ, &mut dice);
                let about = rpm * dice.between(0.8, 1.2);
                let mut listener = Listener::new(SAMPLE_RATE_HZ, &firing, Some(about)).unwrap();
                let mut frames = listener.feed(&samples);
                frames.extend(listener.finish());
                let began = cpu();
                let mut follower = Follower::new(SAMPLE_RATE_HZ, &firing).unwrap();
                follower.shared = shared;
                follower.feed(&samples);
                let mut pulses = follower.follow(&frames);
                pulses.extend(follower.finish());
                ms += (cpu() - began) * 1e3;
                secs += seconds;
                let n = firing.angles_deg().len();
                // best lag
                let fired = &take.truth.fired;
                let mut best = (f64::MIN, 0.0, vec![]);
                for step in 0..40 {
                    let lag_deg = step as f64 * 10.0;
                    let pairs = pairs(&pulses, fired, lag_deg);
                    let r = corr(&pairs);
                    if r > best.0 { best = (r, lag_deg, pairs); }
                }
                let (r, lag, pairs) = best;
                // reference per position
                let (mut tp, mut fp, mut fneg) = (0.0, 0.0, 0.0);
                let mut err = (0.0, 0.0);
                let mut en = vec![(0.0, 0.0, 0.0); n];
                for p in 0..n {
                    let mut own: Vec<f64> = pulses.iter().filter(|x| x.position == p).map(|x| x.strength).collect();
                    own.sort_by(f64::total_cmp);
                    let median = own.get(own.len() / 2).copied().unwrap_or(1.0);
                    for (pulse, f) in pairs.iter().filter(|(x, _)| x.position == p) {
                        let weak = pulse.strength < 0.5 * median;
                        if weak && f.missed { tp += 1.0 } else if weak { fp += 1.0 } else if f.missed { fneg += 1.0 }
                        let true_rel = f.energy.sqrt() / voice.strengths[f.cylinder];
                        err.0 += (pulse.strength / median - true_rel).powi(2); err.1 += 1.0;
                        en[p].0 += pulse.strength.powi(2) * pulse.energy;
                        en[p].1 += f.energy * if voice.pipes[f.cylinder] > 0 { 0.7225 } else { 1.0 };
                        en[p].2 += 1.0;
                    }
                }
                let m0 = en.iter().map(|e| e.0).fold(0.0, f64::max);
                let m1 = en.iter().map(|e| e.1).fold(0.0, f64::max);
                let mut worst = 0.0f64;
                for e in &en { let d = e.0 / m0 - e.1 / m1; rms.0 += d * d; rms.1 += 1.0; worst = worst.max(d.abs()); }
                all[0] += tp; all[1] += fp; all[2] += fneg;
                line += &format!(" [r{r:.2} lag{lag:.0} n{:.2} e{:.2} x{:.2} tp{tp} fp{fp} fn{fneg} w{worst:.2}]", pulses.first().map_or(9.0, |p| p.noise), (err.0 / err.1 as f64).sqrt(), pulses.first().map_or(0.0, |p| p.explained));
            }
            println!("{name:18}{condition:10}{} P{:.2} R{:.2} rms{:.2} {:.1}ms/s{line}", if shared {"shared"} else {"own   "}, all[0]/(all[0]+all[1]), all[0]/(all[0]+all[2]), (rms.0/rms.1 as f64).sqrt(), ms/secs);
            }
        }
    }
}

fn pairs(pulses: &[Pulse], fired: &[bellmouth_core::practice::voice::Fired], lag_deg: f64) -> Vec<(Pulse, bellmouth_core::practice::voice::Fired)> {
    let deg = |t: f64| -> f64 { let i = fired.partition_point(|f| f.t_s < t).clamp(1, fired.len() - 1); let (a, b) = (&fired[i-1], &fired[i]); a.crank_deg + (t - a.t_s) / (b.t_s - a.t_s) * (b.crank_deg - a.crank_deg) };
    pulses.iter().filter_map(|p| {
        let at = deg(p.t_s) - lag_deg;
        let i = fired.partition_point(|f| f.crank_deg < at);
        let near = [i.checked_sub(1), (i < fired.len()).then_some(i)].into_iter().flatten().min_by(|&a, &b| (fired[a].crank_deg - at).abs().total_cmp(&(fired[b].crank_deg - at).abs()))?;
        ((fired[near].crank_deg - at).abs() < 60.0).then_some((*p, fired[near]))
    }).collect()
}

fn corr(pairs: &[(Pulse, bellmouth_core::practice::voice::Fired)]) -> f64 {
    let n = pairs.len() as f64;
    if n < 10.0 { return -1.0; }
    let (a, b): (Vec<f64>, Vec<f64>) = pairs.iter().map(|(p, f)| (p.strength * p.energy.sqrt(), f.energy.sqrt())).unzip();
    let (ma, mb) = (a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n);
    let sab: f64 = a.iter().zip(&b).map(|(x, y)| (x - ma) * (y - mb)).sum();
    let saa: f64 = a.iter().map(|x| (x - ma).powi(2)).sum();
    let sbb: f64 = b.iter().map(|x| (x - mb).powi(2)).sum();
    sab / (saa * sbb).sqrt() * (n / fired_total(pairs)).min(1.0)
}
fn fired_total(pairs: &[(Pulse, bellmouth_core::practice::voice::Fired)]) -> f64 { pairs.len() as f64 }
fn cpu() -> f64 { let s = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap(); s.split(' ').next().unwrap().parse::<f64>().unwrap() * 1e-9 }

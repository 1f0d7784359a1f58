//! A whole sweep, hands-free: a simulated engine is heard, a person turns what is said, no key is pressed.

#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

use bellmouth_core::air::Air;
use bellmouth_core::carburettor::{Carburettor, Machine};
use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::fuel::Petrol;
use bellmouth_core::idle::Outcome;
use bellmouth_core::practice::voice::{SAMPLE_RATE_HZ, Voice};
use bellmouth_core::practice::{Dice, Started};
use bellmouth_workshop::Workshop;
use bellmouth_workshop::bench::gate::QUESTIONS;
use bellmouth_workshop::bench::{BenchState, CheckForm, Ear, FoundForm, News, Stage, Wish};
use bellmouth_workshop::garage::{MachineForm, new_id};
use bellmouth_workshop::logbook::{Id, Source};

/// How long the page speaks, and how long after it the hand has turned, seconds.
const SPEAKS_S: f64 = 2.0;
const TURNS_S: f64 = 3.0;
/// Longer than any sweep, seconds.
const PATIENCE_S: f64 = 900.0;

/// An engine, a bench that hears it, and a person with a screwdriver.
struct Garage {
    workshop: Workshop,
    folder: std::path::PathBuf,
    job: Id,
    engine: Started,
    ear: Ear,
    stage: Option<Stage>,
    now_s: f64,
    /// When the page has spoken, and when the hand has done what was said.
    spoken_at_s: Option<f64>,
    turned_at_s: Option<f64>,
    /// Every stretch of time in which the page spoke.
    spoke: Vec<(f64, f64)>,
    said: Vec<String>,
    agains: u32,
    /// What is in the microphone while the page speaks, beside the engine.
    voice: f32,
    noise: Dice,
}

const IDLE_RPM: f64 = 1050.0;

impl Garage {
    /// The 750 twin, its stop too far open, its screw found a good deal too far in.
    fn new(idle_rpm: &str) -> Garage {
        let folder = std::env::temp_dir().join(format!("bellmouth-led-{}", new_id()));
        let (workshop, _) = Workshop::open(&folder.join("logbook.sqlite")).unwrap();
        let form = MachineForm {
            id: new_id().to_string(),
            name: "the 750 twin".into(),
            layout: "v-twin-45".into(),
            cooling: "liquid".into(),
            carburettors: "1".into(),
            base_turns: String::new(),
        };
        let machine = workshop.enter_machine(&form).unwrap();
        let job = workshop.open_job(&new_id().to_string(), machine, "coughs").unwrap();
        workshop.record_found(job, None, &FoundForm { counts: vec!["2.25".into()] }).unwrap();
        workshop.choose_screw(job, None, "fuel").unwrap();
        let answers =
            QUESTIONS.iter().map(|question| (question.name.to_string(), "good".to_string())).collect();
        let check = CheckForm { answers, idle_rpm: idle_rpm.into(), ..CheckForm::default() };
        workshop.answer_gate(job, None, &check).unwrap();

        let (air, fuel) =
            (Air::at_altitude(0.0, 298.15, 0.5).unwrap(), Petrol::default().at(308.15).unwrap());
        let twin = Machine::new(Carburettor::constant_depression());
        let firing = Firing::from(layout("v-twin-45").unwrap());
        let voice = Voice::drawn(&firing, &mut Dice::new(5));
        let mut engine =
            Started::new(&twin, &air, &fuel, voice, 2.25, 5).unwrap().with_wander(0.005).unwrap();
        engine.open_stop(engine.stop_deg() + 0.25).unwrap();
        let mut ear = Ear::new(SAMPLE_RATE_HZ, &firing, None).unwrap();
        ear.lead(true);
        Garage {
            workshop,
            folder,
            job,
            engine,
            ear,
            stage: None,
            now_s: 0.0,
            spoken_at_s: None,
            turned_at_s: None,
            spoke: Vec::new(),
            said: Vec::new(),
            agains: 0,
            voice: 0.0,
            noise: Dice::new(9),
        }
    }

    fn state(&self) -> BenchState {
        self.workshop.bench(self.job).unwrap()
    }

    /// Lets a block of sound pass.
    fn pass(&mut self) {
        let mut block = [0.0_f32; 2048];
        self.engine.sound(&mut block);
        if self.spoken_at_s.is_some() {
            block.iter_mut().for_each(|x| *x += self.voice * self.noise.between(-1.0, 1.0) as f32);
        }
        self.now_s += block.len() as f64 / SAMPLE_RATE_HZ;
        let news = self.ear.hear(&block);
        let mut changed = self.stage.is_none();
        for news in news {
            changed = true;
            match news {
                News::Taken(taken) => {
                    let (start_s, end_s) = (taken.held.start_s, taken.held.end_s);
                    let spoke = self.spoke.iter().find(|spoke| start_s < spoke.1 && spoke.0 < end_s);
                    assert_eq!(spoke, None, "read from {start_s} to {end_s} s while the page spoke");
                    self.workshop.keep_held(self.job, taken.armed, &taken.held, Source::Microphone).unwrap();
                }
                News::Wish(wish) => {
                    match &wish {
                        Wish::Say(words) => {
                            self.said.push(words.clone());
                            self.speak();
                        }
                        Wish::Again => {
                            self.agains += 1;
                            self.speak();
                        }
                        _ => {}
                    }
                    self.workshop.grant(self.job, &wish).unwrap();
                }
            }
        }
        if changed {
            self.look();
        }
        if self.spoken_at_s.is_some_and(|at_s| at_s <= self.now_s) {
            self.spoken_at_s = None;
            self.spoke.push((self.now_s - SPEAKS_S, self.now_s));
            self.ear.speaking(false);
            self.turned_at_s = Some(self.now_s + TURNS_S);
        }
        if self.turned_at_s.is_some_and(|at_s| at_s <= self.now_s) {
            self.turned_at_s = None;
            self.turn();
        }
    }

    /// The page looks at the bench afresh, and speaks if it asks for something else.
    fn look(&mut self) {
        let bench = self.state();
        self.ear.arm(bench.armed());
        self.ear.asked(&bench.stage);
        if self.stage.as_ref() != Some(&bench.stage) {
            self.stage = Some(bench.stage);
            self.speak();
        }
    }

    fn speak(&mut self) {
        self.ear.speaking(true);
        self.spoken_at_s = Some(self.now_s + SPEAKS_S);
    }

    /// The person does what was said.
    fn turn(&mut self) {
        match self.stage {
            Some(Stage::Move { to, .. } | Stage::Set { to, .. }) => self.engine.turn(to.0).unwrap(),
            Some(Stage::Stop { rpm, .. }) => {
                let way = if self.engine.rpm() < rpm { 1.0 } else { -1.0 };
                let by = (0.003 * (rpm - self.engine.rpm()).abs()).min(0.3);
                self.engine.open_stop((self.engine.stop_deg() + way * by).max(0.0)).unwrap();
            }
            _ => {}
        }
    }

    fn until(&mut self, what: &str, reached: impl Fn(&Garage) -> bool) {
        while !reached(self) {
            self.pass();
            assert!(
                self.now_s < PATIENCE_S,
                "no {what} in {PATIENCE_S} s: {:?}, {:.0} rpm, said {:?}",
                self.stage,
                self.engine.rpm(),
                self.said
            );
        }
    }

    fn seconds(&mut self, seconds: f64) {
        let end_s = self.now_s + seconds;
        while self.now_s < end_s {
            self.pass();
        }
    }
}

impl Drop for Garage {
    fn drop(&mut self) {
        // The file is still open; what is left in the system's own folder of temporary things is small.
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

#[test]
fn from_start_to_setting_without_one_key() {
    let mut garage = Garage::new(&IDLE_RPM.to_string());
    garage.voice = 0.5;
    garage.until("setting", |garage| matches!(garage.stage, Some(Stage::Count { .. })));
    let state = garage.state();
    let sweep = state.answer().unwrap();
    eprintln!(
        "    measured: {} readings in {:.0} s, set to {}, edge {:.2} to {:.2}, idles at {:.0} rpm; said {:?}",
        state.readings.len(),
        garage.now_s,
        garage.engine.turns(),
        sweep.edge.low.0,
        sweep.edge.high.0,
        garage.engine.rpm(),
        garage.said
    );
    assert!(state.readings.len() <= 14, "{} readings", state.readings.len());
    assert!((garage.engine.rpm() / IDLE_RPM - 1.0).abs() < 0.06, "{} rpm", garage.engine.rpm());
    // Every speed that was read is the engine's own, where it stood.
    assert!(state.readings.iter().all(|entry| match entry.reading.outcome {
        Outcome::Ran { rpm, .. } => (0.85 * IDLE_RPM..1.2 * IDLE_RPM).contains(&rpm),
        Outcome::Stalled(_) => false,
    }));
    let Stage::Count { set } = state.stage else { panic!("{:?}", state.stage) };
    assert_eq!(set.0, garage.engine.turns());
    assert!(sweep.edge.low.0 < set.0, "lean of the edge");
}

#[test]
fn two_blips_give_a_hold_up_and_have_it_said_again() {
    let mut garage = Garage::new("");
    garage.until("hold", |garage| matches!(garage.stage, Some(Stage::Holding(_))));
    garage.seconds(9.0);
    for _ in 0..2 {
        garage.engine.twist(4.0).unwrap();
        garage.seconds(0.3);
        garage.engine.twist(0.0).unwrap();
        garage.seconds(0.9);
    }
    garage.until("word", |garage| garage.agains == 1);
    assert!(matches!(garage.stage, Some(Stage::Move { from, to }) if from == to), "{:?}", garage.stage);
    assert!(garage.state().readings.is_empty());
    garage.until("reading", |garage| !garage.state().readings.is_empty());
    assert_eq!(garage.agains, 1);
}

#[test]
fn an_engine_that_died_is_told_and_heard_again_when_it_was_started() {
    let mut garage = Garage::new("");
    garage.until("hold", |garage| matches!(garage.stage, Some(Stage::Holding(_))));
    garage.seconds(12.0);
    garage.engine.kill();
    garage.until("word of it", |garage| !garage.said.is_empty());
    assert!(garage.said[0].contains("I do not hear the engine"), "{:?}", garage.said);
    garage.engine.kick();
    garage.until("reading", |garage| !garage.state().readings.is_empty());
    assert_eq!(garage.said.len(), 1);
}

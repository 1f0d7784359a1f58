//! The bench's promises: what is saved stays, what is sent twice counts once, what is stale is refused.

#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

use bellmouth_core::idle::{End, Outcome};
use bellmouth_core::quantity::TurnsOut;
use bellmouth_core::sound::settled::HeldSpeed;
use bellmouth_workshop::Workshop;
use bellmouth_workshop::bench::gate::QUESTIONS;
use bellmouth_workshop::bench::{
    BenchState, CheckForm, Done, FoundForm, HoldForm, Pause, Stage, TachometerForm, Wish,
};
use bellmouth_workshop::garage::{MachineForm, new_id};
use bellmouth_workshop::logbook::{Id, Source};

/// A workshop in a folder of its own, removed at the end.
struct Bench {
    workshop: Option<Workshop>,
    folder: std::path::PathBuf,
    job: Id,
}

impl Bench {
    /// A bench on the 750 twin, its screw found at 1¾, everything checked.
    fn ready(screw: &str) -> Bench {
        Bench::with(screw, 1, "")
    }

    /// The same with so many carburettors, and the maker's idle speed where it is known.
    fn with(screw: &str, carburettors: usize, idle_rpm: &str) -> Bench {
        let folder = std::env::temp_dir().join(format!("bellmouth-bench-{}", new_id()));
        let (workshop, _) = Workshop::open(&folder.join("logbook.sqlite")).unwrap();
        let form = MachineForm {
            id: new_id().to_string(),
            name: "the 750 twin".into(),
            layout: "v-twin-90".into(),
            cooling: "air".into(),
            carburettors: carburettors.to_string(),
            base_turns: String::new(),
        };
        let machine = workshop.enter_machine(&form).unwrap();
        let job = workshop.open_job(&new_id().to_string(), machine, "coughs").unwrap();
        workshop.record_found(job, None, &FoundForm { counts: vec!["1,75".into(); carburettors] }).unwrap();
        workshop.choose_screw(job, None, screw).unwrap();
        let answers =
            QUESTIONS.iter().map(|question| (question.name.to_string(), "good".to_string())).collect();
        workshop
            .answer_gate(job, None, &CheckForm { answers, idle_rpm: idle_rpm.into(), ..CheckForm::default() })
            .unwrap();
        Bench { workshop: Some(workshop), folder, job }
    }

    fn workshop(&self) -> &Workshop {
        self.workshop.as_ref().expect("the workshop is open between tests' steps")
    }

    fn state(&self) -> BenchState {
        self.workshop().bench(self.job).unwrap()
    }

    fn hold(&self, turns: f64) -> HoldForm {
        HoldForm { id: self.state().hold_id().to_string(), turns: turns.to_string() }
    }

    fn typed(&self, turns: f64, rpm: f64) -> Done {
        let form = TachometerForm { hold: self.hold(turns), rpm: rpm.to_string() };
        self.workshop().keep_typed(self.job, &form).unwrap()
    }

    /// Ends the process's hold on the file and opens it again.
    fn reopen(&mut self) {
        self.workshop = None;
        self.workshop = Some(Workshop::open(&self.folder.join("logbook.sqlite")).unwrap().0);
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        self.workshop = None;
        std::fs::remove_dir_all(&self.folder).expect("the test's own folder can be removed");
    }
}

/// Speed of an invented engine: a cliff below two turns of richness, a plateau, a gentle droop.
fn speed(richness: f64) -> f64 {
    1060.0 - 160.0 / (1.0 + ((richness - 1.6) / 0.16).exp()) - 9.0 * (richness - 2.6).max(0.0).powi(2)
}

#[test]
fn the_first_thing_asked_is_to_hold_as_found() {
    let bench = Bench::ready("fuel");
    assert_eq!(bench.state().stage, Stage::Move { from: TurnsOut(1.75), to: TurnsOut(1.75) });
}

#[test]
fn the_bench_says_what_it_misses_and_opens_when_it_has_it() {
    let bench = Bench::ready("fuel");
    let throttle = vec![("throttle".to_string(), "bad".to_string())];
    bench
        .workshop()
        .answer_gate(bench.job, None, &CheckForm { answers: throttle, ..CheckForm::default() })
        .unwrap();
    let Stage::NotReady(missing) = bench.state().stage else {
        panic!("the bench opened on a sticking throttle")
    };
    assert!(missing[0].what.contains("Throttle snaps shut"), "{missing:?}");
    assert!(
        bench
            .workshop()
            .keep_typed(bench.job, &TachometerForm { hold: bench.hold(1.75), rpm: "1000".into() })
            .is_err()
    );
}

#[test]
fn following_the_advice_ends_with_a_setting_near_the_edge_plus_its_margin() {
    let bench = Bench::ready("fuel");
    let mut holds = 0;
    while let Stage::Move { to, .. } = bench.state().stage {
        bench.typed(to.0, speed(to.0).round());
        holds += 1;
        assert!(holds < 15, "no end after 14 holds");
    }
    let Stage::Set { to, .. } = bench.state().stage else { panic!("{:?}", bench.state().stage) };
    // True edge: the leanest richness within 1 % of the best.
    let best = (0..480).map(|step| speed(f64::from(step) / 80.0)).fold(0.0, f64::max);
    let edge =
        (0..480).map(|step| f64::from(step) / 80.0).find(|turns| 0.99 * best <= speed(*turns)).unwrap();
    assert!((to.0 - (edge + 0.25)).abs() <= 0.3, "set to {}, edge {edge}", to.0);
    bench.workshop().set_screw(bench.job, None, &to.0.to_string(), None).unwrap();
    assert_eq!(bench.state().stage, Stage::Count { set: to });
    bench.workshop().record_left(bench.job, None, "2.25").unwrap();
    assert_eq!(bench.state().stage, Stage::Left { turns: TurnsOut(2.25) });
}

#[test]
fn a_fuel_screw_and_a_mirrored_air_screw_get_the_same_advice() {
    let (fuel, air) = (Bench::ready("fuel"), Bench::ready("air"));
    // The air screw's turns count the other way: richness 3½ less turns; both are found at 1¾.
    for turns in [1.75, 2.25, 2.75, 2.0, 3.0] {
        fuel.typed(turns, speed(turns));
        air.typed(3.5 - turns, speed(turns));
    }
    let (fuel, air) = (fuel.state(), air.state());
    let (fuel, air) = (fuel.answer().unwrap(), air.answer().unwrap());
    // The reach of the two screws differs (neither goes below its seat), so does the prior a little.
    assert!((fuel.edge.best.0 - (3.5 - air.edge.best.0)).abs() < 0.05, "{:?} {:?}", fuel.edge, air.edge);
    assert!((fuel.setting.0 - (3.5 - air.setting.0)).abs() < 0.05);
    assert_eq!(fuel.verdicts[0].name, air.verdicts[0].name);
}

#[test]
fn the_same_reading_sent_twice_counts_once() {
    let bench = Bench::ready("fuel");
    let form = TachometerForm { hold: bench.hold(1.75), rpm: "1000".into() };
    assert_eq!(bench.workshop().keep_typed(bench.job, &form), Ok(Done::Saved));
    assert_eq!(bench.workshop().keep_typed(bench.job, &form), Ok(Done::Already));
    assert_eq!(bench.state().readings.len(), 1);
    let other = TachometerForm { hold: HoldForm { turns: "2".into(), ..form.hold }, rpm: "1000".into() };
    assert!(bench.workshop().keep_typed(bench.job, &other).is_err());
}

#[test]
fn a_hold_begun_is_still_held_after_reopening_and_read_once() {
    let mut bench = Bench::ready("fuel");
    let form = bench.hold(1.75);
    let armed = bench.workshop().begin_hold(bench.job, None, &form).unwrap().unwrap();
    bench.reopen();
    assert_eq!(bench.state().stage, Stage::Holding(armed));
    let held = HeldSpeed { start_s: 10.0, end_s: 24.0, mean_rpm: 1011.0, se_rpm: 4.0, spread_rpm: 9.0 };
    assert_eq!(bench.workshop().keep_held(bench.job, armed, &held, Source::Microphone), Ok(Done::Saved));
    assert_eq!(bench.workshop().keep_held(bench.job, armed, &held, Source::Microphone), Ok(Done::Already));
    // The key pressed again by a page that had not heard of it begins nothing.
    assert_eq!(bench.workshop().begin_hold(bench.job, None, &form), Ok(None));
    bench.reopen();
    let state = bench.state();
    assert_eq!(state.readings.len(), 1);
    assert_eq!(state.readings[0].reading.outcome, Outcome::Ran { rpm: 1011.0, se_rpm: Some(4.0) });
    assert!(state.readings[0].reading.as_found);
}

#[test]
fn a_page_that_is_out_of_date_overwrites_nothing_and_is_told_so() {
    let bench = Bench::ready("fuel");
    let seen = Some(bench.state().job.revision);
    bench.typed(1.75, 1000.0);
    let refused = bench.workshop().begin_hold(bench.job, seen, &bench.hold(2.0)).unwrap_err().to_string();
    assert!(refused.contains("changed elsewhere"), "{refused}");
    assert!(bench.state().armed().is_none());
}

#[test]
fn a_struck_reading_stays_marked_and_leaves_the_fit() {
    let bench = Bench::ready("fuel");
    bench.typed(1.75, 1000.0);
    bench.typed(2.25, 1055.0);
    let id = bench.state().readings[1].reading.id.to_string();
    bench.workshop().strike(&id, "the lamp came on").unwrap();
    let state = bench.state();
    assert_eq!((state.readings.len(), state.holds().len()), (2, 1));
    assert_eq!(state.readings[1].struck.as_ref().unwrap().reason, "the lamp came on");
    bench.workshop().unstrike(&id).unwrap();
    assert_eq!(bench.state().holds().len(), 2);
}

#[test]
fn a_miscount_and_a_wrong_way_move_the_reading_and_keep_the_first_count() {
    let bench = Bench::ready("fuel");
    bench.typed(1.75, 1000.0);
    bench.typed(2.25, 940.0);
    bench.workshop().wrong_way(bench.job, None).unwrap();
    let state = bench.state();
    assert_eq!(
        (state.readings[1].turns(), state.readings[1].reading.turns),
        (TurnsOut(1.25), TurnsOut(2.25))
    );
    assert_eq!(state.position(), TurnsOut(1.25));
    bench.workshop().miscounted(&state.readings[0].reading.id.to_string(), "1.875").unwrap();
    assert_eq!(bench.state().readings[0].turns(), TurnsOut(1.875));
}

#[test]
fn only_a_lean_or_rich_stall_moves_the_next_step_and_it_goes_the_other_way() {
    for (cause, to) in [("lean", 2.25), ("rich", 1.25)] {
        let bench = Bench::ready("fuel");
        bench.workshop().keep_stall(bench.job, &bench.hold(1.75), cause).unwrap();
        assert_eq!(bench.state().stage, Stage::Move { from: TurnsOut(1.75), to: TurnsOut(to) }, "{cause}");
    }
    let bench = Bench::ready("fuel");
    assert!(bench.workshop().keep_stall(bench.job, &bench.hold(1.75), "temper").is_err());
}

#[test]
fn pause_and_alarm_give_the_hold_up_and_keep_every_reading() {
    let bench = Bench::ready("fuel");
    bench.typed(1.75, 1000.0);
    bench.workshop().begin_hold(bench.job, None, &bench.hold(2.25)).unwrap();
    bench.workshop().pause(bench.job, None, true, false).unwrap();
    assert_eq!(bench.state().stage, Stage::Paused(Pause::ByHand));
    bench.workshop().alarm(bench.job, true).unwrap();
    assert_eq!(bench.state().stage, Stage::Alarm);
    bench.workshop().alarm(bench.job, false).unwrap();
    let state = bench.state();
    assert!(matches!(state.stage, Stage::Move { .. }) && state.readings.len() == 1);
}

#[test]
fn an_even_firing_engine_wants_a_second_witness_and_an_uneven_one_does_not() {
    let bench = Bench::ready("fuel");
    assert!(!bench.state().wants_tachometer());
    let mut state = bench.state();
    for (layout, wanted) in
        [("inline-4", true), ("twin-360", true), ("single", false), ("twin-180", false), ("", true)]
    {
        state.machine.details.layout = layout.into();
        assert_eq!(state.wants_tachometer(), wanted, "{layout}");
    }
}

/// Types what is asked for until something else than a hold is.
fn type_until_set(bench: &Bench) -> TurnsOut {
    for _ in 0..30 {
        match bench.state().stage {
            Stage::Move { to, .. } => drop(bench.typed(to.0, speed(to.0).round())),
            Stage::Stop { rpm, .. } => bench.workshop().stop_set(bench.job, None, rpm, false).unwrap(),
            Stage::Set { to, .. } => return to,
            other => panic!("{other:?}"),
        }
    }
    panic!("no setting after 30 steps")
}

#[test]
fn the_stop_comes_first_and_one_that_comes_no_nearer_is_the_finding() {
    let bench = Bench::with("fuel", 1, "1050");
    assert_eq!(bench.state().stage, Stage::Stop { rpm: 1050.0, within_rpm: 50.0 });
    let refused = bench.workshop().stop_set(bench.job, None, 1180.0, false).unwrap_err().to_string();
    assert!(refused.contains("1180") && refused.contains("1050"), "{refused}");
    assert_eq!(
        bench.state().stage,
        Stage::Stop { rpm: 1050.0, within_rpm: 50.0 },
        "refused, nothing changed"
    );
    bench.workshop().stop_set(bench.job, None, 1180.0, true).unwrap();
    assert_eq!(bench.state().stage, Stage::Ended(End::WillNotIdle { rpm: 1180.0 }));
    bench.workshop().back(bench.job, None).unwrap();
    assert_eq!(bench.state().stage, Stage::Stop { rpm: 1050.0, within_rpm: 50.0 }, "mended: once more");
    bench.workshop().stop_set(bench.job, None, 1040.0, false).unwrap();
    assert!(matches!(bench.state().stage, Stage::Move { .. }));
    assert!(bench.workshop().stop_set(bench.job, None, f64::NAN, false).is_err());
}

#[test]
fn an_idle_that_rose_with_the_mixture_is_lowered_and_the_setting_read_again() {
    let mut bench = Bench::with("fuel", 1, "1020");
    let to = type_until_set(&bench);
    let block = bench.state().block();
    bench.workshop().set_screw(bench.job, None, &to.0.to_string(), Some(1065.0)).unwrap();
    let stage = bench.state().stage;
    assert!(
        matches!(stage, Stage::Stop { rpm: 1020.0, within_rpm } if (within_rpm - 30.6).abs() < 0.01),
        "4 % too fast: {stage:?}"
    );
    bench.reopen();
    bench.workshop().stop_set(bench.job, None, 1020.0, false).unwrap();
    assert_eq!(bench.state().stage, Stage::Move { from: to, to });
    assert_eq!(bench.state().block(), block + 1);
}

#[test]
fn two_screws_are_trimmed_twice_each_then_balanced_then_counted() {
    let bench = Bench::with("fuel", 2, "");
    let set = type_until_set(&bench);
    bench.workshop().set_screw(bench.job, None, &set.0.to_string(), None).unwrap();
    for (carburettor, round) in [(1, 1), (2, 1), (1, 2), (2, 2)] {
        let stage = bench.state().stage;
        assert!(
            matches!(stage, Stage::Trim { carburettor: c, round: r, .. } if (c, r) == (carburettor, round)),
            "{stage:?}"
        );
        bench.workshop().trimmed(bench.job, None, &set.0.to_string()).unwrap();
    }
    assert_eq!(bench.state().stage, Stage::Balance);
    bench.workshop().balanced(bench.job, None).unwrap();
    assert_eq!(bench.state().stage, Stage::Count { set });
    assert!(bench.workshop().trimmed(bench.job, None, "2").is_err(), "nothing is being trimmed");
    bench.workshop().back(bench.job, None).unwrap();
    assert!(matches!(bench.state().stage, Stage::Set { .. }));
    bench.workshop().set_screw(bench.job, None, &set.0.to_string(), None).unwrap();
    bench.workshop().trimmed(bench.job, None, "1.5").unwrap();
    bench.workshop().back(bench.job, None).unwrap();
    let stage = bench.state().stage;
    assert!(matches!(stage, Stage::Trim { carburettor: 1, round: 1, .. }), "one trim back: {stage:?}");
}

#[test]
fn what_a_person_pressed_has_the_last_word_over_what_leads() {
    let bench = Bench::ready("fuel");
    bench.typed(1.75, 1000.0);
    let Stage::Move { to, .. } = bench.state().stage else { panic!("a move is asked for") };
    bench.workshop().begin_hold(bench.job, None, &bench.hold(3.0)).unwrap();
    bench.workshop().grant(bench.job, &Wish::Hold(to)).unwrap();
    assert!(matches!(bench.state().stage, Stage::Holding(armed) if armed.turns == TurnsOut(3.0)));
    bench.workshop().pause(bench.job, None, true, false).unwrap();
    bench.workshop().grant(bench.job, &Wish::Stands { turns: to, rpm: 1000.0 }).unwrap();
    assert_eq!(bench.state().stage, Stage::Paused(Pause::ByHand));
}

#[test]
fn one_more_hold_forgets_no_stop_and_no_pass() {
    let bench = Bench::with("fuel", 1, "1020");
    let to = type_until_set(&bench);
    bench.workshop().set_screw(bench.job, None, &to.0.to_string(), Some(1065.0)).unwrap();
    bench.workshop().stop_set(bench.job, None, 1020.0, false).unwrap();
    let block = bench.state().block();
    bench.typed(to.0, 1018.0);
    bench.workshop().finish(bench.job, None, true).unwrap();
    assert!(matches!(bench.state().stage, Stage::Set { .. }));
    bench.workshop().finish(bench.job, None, false).unwrap();
    assert_eq!(bench.state().block(), block, "the stop has been moved all the same");
}

#[test]
fn screws_that_end_more_than_a_turn_apart_are_the_finding() {
    let bench = Bench::with("fuel", 2, "");
    let set = type_until_set(&bench).0;
    bench.workshop().set_screw(bench.job, None, &set.to_string(), None).unwrap();
    bench.workshop().trimmed(bench.job, None, &set.to_string()).unwrap();
    bench.workshop().trimmed(bench.job, None, &(set + 1.25).to_string()).unwrap();
    assert_eq!(bench.state().stage, Stage::Ended(End::ScrewsApart { turns: 1.25 }));
}

#[test]
fn pick_up_decides_at_last_and_can_be_taken_back() {
    let bench = Bench::ready("fuel");
    let set = type_until_set(&bench);
    bench.workshop().set_screw(bench.job, None, &set.0.to_string(), None).unwrap();
    assert_eq!(bench.state().stage, Stage::Count { set });
    let best = TurnsOut(set.0 + 0.25);
    bench.workshop().picked_up(bench.job, None, &best.0.to_string()).unwrap();
    let state = bench.state();
    assert_eq!(state.stage, Stage::Set { from: set, to: best });
    assert_eq!(state.answer().unwrap().rule_name, "pick-up");
    bench.workshop().picked_up(bench.job, None, "").unwrap();
    assert_eq!(bench.state().stage, Stage::Set { from: set, to: set });
}

#[test]
fn a_lamp_that_was_lit_begins_a_block_and_a_struck_reading_leaves_the_course() {
    let bench = Bench::ready("fuel");
    bench.typed(1.75, 1010.0);
    let before = bench.state();
    bench.workshop().new_block(bench.job, None).unwrap();
    assert_eq!(bench.state().block(), before.block() + 1);
    bench.typed(2.25, 1050.0);
    let reading = bench.state().readings[1].reading.id.to_string();
    bench.workshop().strike(&reading, "").unwrap();
    assert_eq!(bench.state().course.unwrap().holds().len(), 1);
}

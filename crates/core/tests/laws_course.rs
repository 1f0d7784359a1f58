//! What must hold of every course from the stop to the seat.

use bellmouth_core::idle::{Cooling, Course, End, Job, Outcome, Question, StallCause, Step, Told};
use bellmouth_core::quantity::{Screw, TurnsOut};

/// A machine with a stop: its speed is the stop's share of a curve whose edge moves with the stop.
struct Machine {
    screw: Screw,
    /// Speed on the plateau, rpm; what the stop changes.
    level_rpm: f64,
    /// How far the stop can bring the level down, rpm.
    least_rpm: f64,
    /// By how much the edge moves as the stop changes the level, turns per rpm.
    edge_moves: f64,
    /// Where each screw stands after it was trimmed, beside the setting.
    apart: [f64; 4],
}

impl Machine {
    fn new(screw: Screw) -> Self {
        Machine { screw, level_rpm: 1150.0, least_rpm: 700.0, edge_moves: 0.0, apart: [0.0; 4] }
    }

    fn rpm(&self, turns: TurnsOut) -> Option<f64> {
        let edge = 2.0 + self.edge_moves * (self.level_rpm - 1000.0);
        let x = self.screw.richness(turns).0 - self.screw.richness(TurnsOut(2.0)).0 - (edge - 2.0);
        let share = 1.0 - 0.25 * (0.5 * (-x + (x * x + 0.01).sqrt())) - 0.008 * (x - 0.5).max(0.0).powi(2);
        (0.62 < share).then_some(self.level_rpm * share)
    }
}

fn job(machine: &Machine) -> Job {
    Job {
        question: Question::new(machine.screw),
        idle_rpm: 1000.0,
        carburettors: 1,
        air_moves: true,
        first: TurnsOut(2.5),
    }
}

/// Does what the course says until it ends; every step in order.
fn run(machine: &mut Machine, job: Job) -> Vec<Step> {
    let idle_rpm = job.idle_rpm;
    let mut course = Course::new(job).expect("the job means something");
    let mut steps = Vec::new();
    let (mut at_s, mut stands) = (0.0, TurnsOut(2.5));
    while steps.len() < 200 {
        let step = course.step();
        steps.push(step);
        let told = match step {
            Step::SetStop { rpm } => {
                let now = machine.rpm(stands).expect("it runs where it stands");
                machine.level_rpm = (machine.level_rpm * rpm / now).max(machine.least_rpm);
                Told::Stop { rpm: machine.rpm(stands).expect("it runs where it stands") }
            }
            Step::Hold { turns, .. } => {
                stands = turns;
                at_s += 40.0;
                let outcome = machine.rpm(turns).map_or(Outcome::Stalled(StallCause::Lean), |rpm| {
                    Outcome::Ran { rpm, se_rpm: Some(5.0) }
                });
                Told::Held { outcome, at_s, idled_s: 40.0 }
            }
            Step::Rest { .. } => Told::Rested,
            Step::Leave { turns } => {
                stands = turns;
                Told::Left { rpm: machine.rpm(turns).unwrap_or(idle_rpm) }
            }
            Step::Trim { carburettor, .. } => {
                Told::Trimmed { turns: TurnsOut(stands.0 + machine.apart[carburettor as usize - 1]) }
            }
            Step::Balance => Told::Balanced,
            Step::CountToSeat => Told::Counted { turns: stands },
            Step::End(_) => return steps,
        };
        course.tell(told).expect("what was asked for is told");
    }
    panic!("no end after {} steps: {steps:?}", steps.len());
}

fn end(steps: &[Step]) -> End {
    match steps.last() {
        Some(Step::End(end)) => *end,
        other => panic!("{other:?} is no end"),
    }
}

#[test]
fn the_stop_comes_first_and_the_seat_is_counted_last() {
    for screw in [Screw::Fuel, Screw::Air] {
        let mut machine = Machine::new(screw);
        let job = job(&machine);
        let steps = run(&mut machine, job);
        assert_eq!(steps[0], Step::SetStop { rpm: 1000.0 });
        assert_eq!(steps[steps.len() - 2], Step::CountToSeat);
        assert!(matches!(end(&steps), End::Set { .. }), "{steps:?}");
    }
}

#[test]
fn a_stop_that_cannot_bring_the_idle_is_the_finding() {
    let mut machine = Machine { least_rpm: 1200.0, ..Machine::new(Screw::Fuel) };
    let job = job(&machine);
    let steps = run(&mut machine, job);
    assert_eq!(steps.len(), 2);
    assert!(matches!(end(&steps), End::WillNotIdle { rpm } if 1100.0 < rpm));
}

#[test]
fn faster_than_idle_by_a_twentieth_lowers_the_stop_and_repeats_the_position() {
    let job = job(&Machine::new(Screw::Fuel));
    let mut course = Course::new(job).expect("the job means something");
    course.tell(Told::Stop { rpm: 1010.0 }).expect("the stop was asked for");
    let held = |rpm: f64, at_s: f64| Told::Held {
        outcome: Outcome::Ran { rpm, se_rpm: Some(5.0) },
        at_s,
        idled_s: 40.0,
    };
    course.tell(held(1060.0, 40.0)).expect("a hold was asked for");
    assert_eq!(course.step(), Step::SetStop { rpm: 1000.0 });
    course.tell(Told::Stop { rpm: 1000.0 }).expect("the stop was asked for");
    assert_eq!(course.step(), Step::Hold { turns: TurnsOut(2.5), pass: 1, again: true });
    course.tell(held(1000.0, 80.0)).expect("a hold was asked for");
    let blocks: Vec<u32> = course.holds().iter().map(|hold| hold.block).collect();
    assert_eq!(blocks, [0, 1]);
}

#[test]
fn three_passes_that_do_not_settle_end_in_a_diagnosis() {
    // A stop that nobody gets back to idle at the setting: every pass ends too slow.
    let machine = Machine::new(Screw::Fuel);
    let mut course = Course::new(job(&machine)).expect("the job means something");
    let mut passes = 0;
    for count in 0..200 {
        let told = match course.step() {
            Step::SetStop { rpm } => Told::Stop { rpm },
            Step::Hold { turns, pass, .. } => {
                passes = pass;
                // The edge is half a turn richer with every pass.
                let x = turns.0 - 1.5 - 0.5 * f64::from(pass);
                let rpm = 1000.0 * (1.0 - 0.3 * (-x).max(0.0) - 0.01 * x.max(0.0).powi(2)).max(0.7);
                let at_s = 40.0 * f64::from(count);
                Told::Held { outcome: Outcome::Ran { rpm, se_rpm: Some(4.0) }, at_s, idled_s: 40.0 }
            }
            Step::Leave { .. } => Told::Left { rpm: 900.0 },
            Step::End(End::DoesNotSettle) => {
                assert_eq!(passes, 3);
                return;
            }
            other => panic!("{other:?} was not to be expected"),
        };
        course.tell(told).expect("what was asked for is told");
    }
    panic!("no end");
}

#[test]
fn without_moving_air_an_air_cooled_engine_never_idles_five_minutes() {
    let rests = |cooling: Cooling, air_moves: bool| {
        let mut machine = Machine::new(Screw::Fuel);
        let mut job = Job { air_moves, ..job(&machine) };
        job.question.cooling = cooling;
        let steps = run(&mut machine, job);
        let mut since = 0.0;
        for step in &steps {
            match step {
                Step::Hold { .. } => since += 40.0,
                Step::Rest { .. } => since = 0.0,
                _ => {}
            }
            if cooling == Cooling::Air && !air_moves {
                assert!(since <= 300.0, "{since} s of idling: {steps:?}");
            }
        }
        steps.iter().filter(|step| matches!(step, Step::Rest { .. })).count()
    };
    assert!(0 < rests(Cooling::Air, false));
    assert_eq!(rests(Cooling::Air, true), 0);
    assert_eq!(rests(Cooling::Liquid, false), 0);
}

#[test]
fn every_screw_is_trimmed_twice_to_the_same_drop_and_a_turn_apart_is_a_finding() {
    let mut machine = Machine { apart: [0.0, 0.125, -0.125, 0.25], ..Machine::new(Screw::Fuel) };
    let four = Job { carburettors: 4, ..job(&machine) };
    let steps = run(&mut machine, four.clone());
    let trims: Vec<(u32, u32, f64)> = steps
        .iter()
        .filter_map(|step| match step {
            Step::Trim { carburettor, round, drop_rpm } => Some((*carburettor, *round, *drop_rpm)),
            _ => None,
        })
        .collect();
    let wanted: Vec<(u32, u32, f64)> =
        (1..=2).flat_map(|round| (1..=4).map(move |carburettor| (carburettor, round, 20.0))).collect();
    assert_eq!(trims, wanted);
    assert_eq!(steps[steps.len() - 3], Step::Balance);
    let mut machine = Machine { apart: [0.0, 1.25, 0.0, 0.0], ..Machine::new(Screw::Fuel) };
    let steps = run(&mut machine, four);
    assert!(matches!(end(&steps), End::ScrewsApart { turns } if (turns - 1.25).abs() < 1e-9));
}

#[test]
fn what_was_not_asked_for_is_refused_and_changes_nothing() {
    let machine = Machine::new(Screw::Fuel);
    let mut course = Course::new(job(&machine)).expect("the job means something");
    let before = course.clone();
    assert!(course.tell(Told::Balanced).is_err());
    course.tell(Told::Stop { rpm: 1000.0 }).expect("the stop was asked for");
    let hold = Told::Held { outcome: Outcome::Ran { rpm: -1.0, se_rpm: None }, at_s: 0.0, idled_s: 40.0 };
    assert!(course.tell(hold).is_err());
    assert!(course.holds().is_empty());
    assert_eq!(before.step(), Step::SetStop { rpm: 1000.0 });
}

#[test]
fn where_it_only_died_the_next_hold_lies_away_from_what_it_died_of() {
    for screw in [Screw::Fuel, Screw::Air] {
        for (cause, turns_richer) in [(StallCause::Lean, 0.5), (StallCause::Rich, -0.5)] {
            let machine = Machine::new(screw);
            let mut course = Course::new(job(&machine)).expect("the job means something");
            course.tell(Told::Stop { rpm: 1000.0 }).expect("the stop was asked for");
            let died = Told::Held { outcome: Outcome::Stalled(cause), at_s: 0.0, idled_s: 20.0 };
            course.tell(died).expect("a hold was asked for");
            let Step::Hold { turns, .. } = course.step() else { panic!("{:?}", course.step()) };
            let moved = screw.richness(turns).0 - screw.richness(TurnsOut(2.5)).0;
            assert!((moved - turns_richer).abs() < 1e-9, "{screw:?} {cause:?}: {turns:?}");
        }
    }
}

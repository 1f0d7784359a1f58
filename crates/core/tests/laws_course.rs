//! What must hold of every course from the stop to the seat.

use bellmouth_core::idle::{Course, End, Hold, Job, Outcome, Question, StallCause, Step, Sweep, Told, sweep};
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
        idle_rpm: Some(1000.0),
        carburettors: 1,
        first: TurnsOut(2.5),
    }
}

/// The fit of what was held.
fn fit(course: &Course, screw: Screw) -> Option<Sweep> {
    sweep(course.holds(), &Question::new(screw)).ok().map(|answer| answer.value)
}

fn step(course: &Course, screw: Screw) -> Step {
    course.step(fit(course, screw).as_ref())
}

/// A hold as the course's next.
fn held(course: &Course, turns: TurnsOut, outcome: Outcome, at_s: f64) -> Told {
    let as_found = course.holds().is_empty();
    Told::Held(Hold { turns, outcome, spread_rpm: None, at_s: Some(at_s), block: course.block(), as_found })
}

fn ran(rpm: f64) -> Outcome {
    Outcome::Ran { rpm, se_rpm: Some(5.0) }
}

/// Does what the course says until it ends; every step in order.
fn run(machine: &mut Machine, job: Job) -> Vec<Step> {
    let mut course = Course::new(job).expect("the job means something");
    let mut steps = Vec::new();
    let (mut at_s, mut stands) = (0.0, TurnsOut(2.5));
    while steps.len() < 200 {
        let step = step(&course, machine.screw);
        steps.push(step);
        let told = match step {
            Step::SetStop { rpm, .. } => {
                let now = machine.rpm(stands).expect("it runs where it stands");
                machine.level_rpm = (machine.level_rpm * rpm / now).max(machine.least_rpm);
                Told::Stop { rpm: machine.rpm(stands).expect("it runs where it stands") }
            }
            Step::Hold { turns, .. } => {
                stands = turns;
                at_s += 40.0;
                let outcome = machine.rpm(turns).map_or(Outcome::Stalled(StallCause::Lean), ran);
                held(&course, turns, outcome, at_s)
            }
            Step::Leave { turns } => {
                stands = turns;
                Told::Left { turns, rpm: machine.rpm(turns) }
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
        assert_eq!(steps[0], Step::SetStop { rpm: 1000.0, within_rpm: 50.0 });
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
    course.tell(held(&course, TurnsOut(2.5), ran(1060.0), 40.0)).expect("a hold was asked for");
    assert_eq!(step(&course, Screw::Fuel), Step::SetStop { rpm: 1000.0, within_rpm: 30.0 });
    course.tell(Told::Stop { rpm: 1000.0 }).expect("the stop was asked for");
    assert_eq!(step(&course, Screw::Fuel), Step::Hold { turns: TurnsOut(2.5), pass: 1, again: true });
    course.tell(held(&course, TurnsOut(2.5), ran(1000.0), 80.0)).expect("a hold was asked for");
    let blocks: Vec<u32> = course.holds().iter().map(|hold| hold.block).collect();
    assert_eq!(blocks, [1, 2]);
}

#[test]
fn three_passes_that_do_not_settle_end_in_a_diagnosis() {
    // A stop that nobody gets back to idle at the setting: every pass ends too slow.
    let machine = Machine::new(Screw::Fuel);
    let mut course = Course::new(job(&machine)).expect("the job means something");
    let mut passes = 0;
    for count in 0..200 {
        let told = match step(&course, Screw::Fuel) {
            Step::SetStop { rpm, .. } => Told::Stop { rpm },
            Step::Hold { turns, pass, .. } => {
                passes = pass;
                // The edge is half a turn richer with every pass.
                let x = turns.0 - 1.5 - 0.5 * f64::from(pass);
                let rpm = 1000.0 * (1.0 - 0.3 * (-x).max(0.0) - 0.01 * x.max(0.0).powi(2)).max(0.7);
                let at_s = 40.0 * f64::from(count);
                held(&course, turns, Outcome::Ran { rpm, se_rpm: Some(4.0) }, at_s)
            }
            Step::Leave { turns } => Told::Left { turns, rpm: Some(900.0) },
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
fn where_no_idle_speed_is_known_the_stop_is_never_asked_for() {
    let mut machine = Machine::new(Screw::Fuel);
    let job = Job { idle_rpm: None, ..job(&machine) };
    let steps = run(&mut machine, job);
    assert!(steps.iter().all(|step| !matches!(step, Step::SetStop { .. })), "{steps:?}");
    assert!(matches!(end(&steps), End::Set { .. }), "{steps:?}");
}

#[test]
fn told_again_from_its_beginning_a_course_asks_for_the_same() {
    let machine = Machine::new(Screw::Fuel);
    let mut course = Course::new(job(&machine)).expect("the job means something");
    let mut story = vec![Told::Stop { rpm: 1000.0 }];
    course.tell(story[0]).expect("the stop was asked for");
    for count in 0..4 {
        let Step::Hold { turns, .. } = step(&course, Screw::Fuel) else { break };
        let rpm = 1000.0 / 1150.0 * machine.rpm(turns).expect("it runs");
        let told = held(&course, turns, ran(rpm), 40.0 * f64::from(count));
        course.tell(told).expect("a hold was asked for");
        story.push(told);
    }
    let mut again = Course::new(job(&machine)).expect("the job means something");
    story.iter().for_each(|told| again.tell(*told).expect("it was told before"));
    assert_eq!(course, again);
}

#[test]
fn a_hold_nobody_asked_for_is_taken_all_the_same_and_so_is_a_stop() {
    let mut course = Course::new(job(&Machine::new(Screw::Fuel))).expect("the job means something");
    course.tell(held(&course, TurnsOut(3.0), ran(1000.0), 0.0)).expect("a hold is a hold");
    course.tell(Told::Stop { rpm: 990.0 }).expect("the stop is in a person's hands");
    assert_eq!(step(&course, Screw::Fuel), Step::Hold { turns: TurnsOut(3.0), pass: 1, again: true });
    assert_eq!(course.block(), 2);
    course.tell(Told::Changed).expect("a lamp was lit");
    assert_eq!(course.block(), 2);
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
    let hold = held(&course, TurnsOut(2.5), Outcome::Ran { rpm: -1.0, se_rpm: None }, 0.0);
    assert!(course.tell(hold).is_err());
    assert!(course.holds().is_empty());
    assert!(course.tell(Told::Stop { rpm: f64::NAN }).is_err());
    assert_eq!(before.step(None), Step::SetStop { rpm: 1000.0, within_rpm: 50.0 });
}

#[test]
fn where_it_only_died_the_next_hold_lies_away_from_what_it_died_of() {
    for screw in [Screw::Fuel, Screw::Air] {
        for (cause, turns_richer) in [(StallCause::Lean, 0.5), (StallCause::Rich, -0.5)] {
            let machine = Machine::new(screw);
            let mut course = Course::new(job(&machine)).expect("the job means something");
            course.tell(Told::Stop { rpm: 1000.0 }).expect("the stop was asked for");
            let died = held(&course, TurnsOut(2.5), Outcome::Stalled(cause), 0.0);
            course.tell(died).expect("a hold was asked for");
            let next = step(&course, screw);
            let Step::Hold { turns, .. } = next else { panic!("{next:?}") };
            let moved = screw.richness(turns).0 - screw.richness(TurnsOut(2.5)).0;
            assert!((moved - turns_richer).abs() < 1e-9, "{screw:?} {cause:?}: {turns:?}");
        }
    }
}

#[test]
fn a_stop_that_was_accepted_is_not_asked_for_again_at_the_same_speed() {
    for idle_rpm in [600.0, 800.0, 1000.0, 1500.0] {
        let job = Job { idle_rpm: Some(idle_rpm), ..job(&Machine::new(Screw::Fuel)) };
        let mut course = Course::new(job).expect("the job means something");
        let Step::SetStop { within_rpm, .. } = course.step(None) else { panic!("the stop comes first") };
        let idles = idle_rpm + within_rpm;
        course.tell(Told::Stop { rpm: idles }).expect("the stop was asked for");
        course.tell(held(&course, TurnsOut(2.5), ran(idles), 0.0)).expect("a hold was asked for");
        let next = step(&course, Screw::Fuel);
        assert!(matches!(next, Step::Hold { .. }), "{idle_rpm}: {next:?}");
    }
}

#[test]
fn a_hold_made_instead_of_setting_the_stop_does_not_set_it() {
    let mut course = Course::new(job(&Machine::new(Screw::Fuel))).expect("the job means something");
    course.tell(held(&course, TurnsOut(2.5), ran(850.0), 0.0)).expect("a hold is a hold");
    assert!(matches!(step(&course, Screw::Fuel), Step::SetStop { .. }));
    assert_eq!(course.holds().len(), 1);
}

#[test]
fn whoever_leaves_it_in_spite_of_a_finding_counts_to_the_seat() {
    let mut course = Course::new(job(&Machine::new(Screw::Fuel))).expect("the job means something");
    course.tell(Told::Stop { rpm: 1300.0 }).expect("the stop was asked for");
    assert!(matches!(course.step(None), Step::End(End::WillNotIdle { .. })));
    course.tell(Told::Left { turns: TurnsOut(2.5), rpm: Some(1300.0) }).expect("it stands there");
    assert_eq!(course.step(None), Step::CountToSeat);
}

#[test]
fn the_first_screw_stands_where_it_was_trimmed_last() {
    let machine = Machine::new(Screw::Fuel);
    let two = Job { carburettors: 2, idle_rpm: None, ..job(&machine) };
    let mut course = Course::new(two).expect("the job means something");
    course.tell(held(&course, TurnsOut(2.5), ran(1000.0), 0.0)).expect("a hold was asked for");
    course.tell(Told::Left { turns: TurnsOut(2.5), rpm: None }).expect("it was set");
    for turns in [2.375, 2.5, 2.25, 2.5] {
        course.tell(Told::Trimmed { turns: TurnsOut(turns) }).expect("a trim was asked for");
    }
    assert_eq!(course.step(None), Step::Balance);
    assert_eq!(course.first_screw(), TurnsOut(2.25));
}

//! What whoever leads must hold to, told by frames alone.

use bellmouth_core::sound::{FRAME_S, Heard};

use super::*;
use crate::bench::facts::Armed;

/// Lets seconds of a steady speed pass, settled and live alike; gives every wish.
fn pass(lead: &mut Lead, seconds: f64, rpm: Option<f64>) -> Vec<Wish> {
    let mut wishes = Vec::new();
    for index in 0..(seconds / FRAME_S) as u32 {
        // A little unevenness, so that a standard error can be told.
        let uneven = 4.0 * (f64::from(index) * 0.7).sin();
        if let Some(rpm) = rpm {
            let frame =
                Frame { t_s: f64::from(index) * FRAME_S, rpm: rpm + uneven, sd_rpm: 3.0, heard: Heard::Yes };
            wishes.extend(lead.settled(&frame));
        }
        wishes.extend(lead.live(FRAME_S, rpm.is_some(), None));
    }
    wishes
}

fn moving(from: f64, to: f64) -> Stage {
    Stage::Move { from: TurnsOut(from), to: TurnsOut(to) }
}

#[test]
fn the_hand_has_its_time_only_after_the_page_has_spoken() {
    let mut lead = Lead::new();
    lead.asked(&moving(2.0, 2.5));
    assert_eq!(pass(&mut lead, 20.0, Some(1000.0)), []);
    lead.spoken();
    assert_eq!(pass(&mut lead, 6.5, Some(1000.0)), []);
    assert_eq!(pass(&mut lead, 1.0, Some(1000.0)), [Wish::Hold(TurnsOut(2.5))]);
    assert_eq!(pass(&mut lead, 30.0, Some(1000.0)), [], "once");
}

#[test]
fn a_page_that_never_says_that_it_has_spoken_does_not_hold_the_bench_up() {
    let mut lead = Lead::new();
    lead.asked(&moving(2.0, 2.0));
    assert_eq!(pass(&mut lead, 30.0, Some(1000.0)), [Wish::Hold(TurnsOut(2.0))]);
}

#[test]
fn the_stop_is_taken_as_set_only_near_the_idle_that_is_wanted() {
    let mut lead = Lead::new();
    lead.asked(&Stage::Stop { rpm: 1050.0, within_rpm: 50.0 });
    lead.spoken();
    let told = pass(&mut lead, 30.0, Some(1180.0));
    assert!(
        matches!(&told[..], [Wish::Say(words)] if words.contains("1180") && words.contains("slower")),
        "{told:?}"
    );
    lead.spoken();
    assert!(
        matches!(pass(&mut lead, 30.0, Some(1040.0))[..], [Wish::StopSet { rpm }] if (rpm - 1040.0).abs() < 2.0)
    );
}

#[test]
fn the_setting_is_read_before_it_is_left() {
    let mut lead = Lead::new();
    lead.asked(&Stage::Set { from: TurnsOut(3.0), to: TurnsOut(2.5) });
    lead.spoken();
    let told = pass(&mut lead, 40.0, Some(1052.0));
    assert!(
        matches!(told[..], [Wish::Stands { turns: TurnsOut(2.5), rpm }] if (rpm - 1052.0).abs() < 2.0),
        "{told:?}"
    );
}

#[test]
fn silence_is_said_once_and_whoever_stopped_the_engine_to_reach_the_screw_is_waited_for() {
    let mut lead = Lead::new();
    lead.asked(&moving(2.0, 2.5));
    lead.spoken();
    pass(&mut lead, 2.0, Some(1000.0));
    let told = pass(&mut lead, 60.0, None);
    assert!(matches!(&told[..], [Wish::Say(words)] if words.contains("do not hear")), "{told:?}");
    assert_eq!(pass(&mut lead, 4.5, Some(1000.0)), []);
    assert_eq!(pass(&mut lead, 1.0, Some(1000.0)), [Wish::Hold(TurnsOut(2.5))]);
}

#[test]
fn a_hold_without_end_is_told_once() {
    let mut lead = Lead::new();
    let armed = Armed { id: crate::garage::new_id(), turns: TurnsOut(2.0), since_ms: 0 };
    lead.asked(&Stage::Holding(armed));
    lead.spoken();
    assert_eq!(pass(&mut lead, 80.0, Some(1000.0)), []);
    let told = pass(&mut lead, 200.0, Some(1000.0));
    assert!(matches!(&told[..], [Wish::Say(words)] if words.contains("tachometer")), "{told:?}");
}

#[test]
fn two_blips_are_again_and_go_on_but_never_move_a_bench_that_rests_for_heat() {
    let mut lead = Lead::new();
    lead.asked(&moving(2.0, 2.5));
    lead.spoken();
    pass(&mut lead, 5.0, Some(1000.0));
    assert_eq!(lead.live(FRAME_S, true, Some(2)), Some(Wish::Again));
    assert_eq!(pass(&mut lead, 5.0, Some(1000.0)), [], "the instruction is being said again");
    assert_eq!(lead.live(FRAME_S, true, Some(1)), None);
    lead.asked(&Stage::Paused(Pause::ByHand));
    assert_eq!(lead.live(FRAME_S, true, Some(2)), Some(Wish::GoOn));
    lead.asked(&Stage::Paused(Pause::Heat));
    assert_eq!(lead.live(FRAME_S, true, Some(2)), None);
}

//! A whole sweep with both hands on the screwdriver: nothing is pressed after the start, and whoever turns the
//! screw goes by nothing but what is said.

use std::time::{Duration, Instant};

use bellmouth_browser_tests::engine_sound::Idling;
use bellmouth_browser_tests::garage::{self, Bike, TWIN};
use bellmouth_browser_tests::heard_engine::HeardEngine;
use bellmouth_browser_tests::{Browser, Server, Setup, figure};
use bellmouth_core::air::Air;
use bellmouth_core::carburettor::{Carburettor, Machine};
use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::fuel::Petrol;
use bellmouth_core::practice::voice::Voice;
use bellmouth_core::practice::{Dice, Started};

/// Where the screw is found: lean of the edge.
const FOUND: f64 = 2.125;
/// Longer than a sweep takes.
const PATIENCE: Duration = Duration::from_secs(600);

fn twin() -> (Machine, Air, bellmouth_core::fuel::Fuel) {
    let air = Air::at_altitude(0.0, 298.15, 0.5).expect("a usual day");
    let fuel = Petrol::default().at(308.15).expect("usual petrol");
    (Machine::new(Carburettor::constant_depression()), air, fuel)
}

fn started() -> Started {
    let (machine, air, fuel) = twin();
    let firing = Firing::from(layout("v-twin-45").expect("a row of the table"));
    let voice = Voice::drawn(&firing, &mut Dice::new(5));
    Started::new(&machine, &air, &fuel, voice, FOUND, 5)
        .and_then(|engine| engine.with_wander(0.005))
        .expect("it idles where it was found")
}

/// By how much the words say to turn the screw, turns; out is more. `None` where they say something else.
fn told_to_turn(words: &str) -> Option<f64> {
    let (sign, rest) = match words.split_once("Turn ")?.1 {
        rest if rest.starts_with("out ") => (1.0, &rest[4..]),
        rest if rest.starts_with("in ") => (-1.0, &rest[3..]),
        _ => return None,
    };
    let amount = rest.split(',').next()?;
    let whole = match amount.split(' ').next()? {
        "one" => 1.0,
        first => first.parse().unwrap_or(0.0),
    };
    let parts = [
        ("three eighths", 0.375),
        ("five eighths", 0.625),
        ("seven eighths", 0.875),
        ("an eighth", 0.125),
        ("three quarters", 0.75),
        ("a quarter", 0.25),
        ("half", 0.5),
    ];
    let part = parts.iter().find(|(name, _)| amount.contains(name)).map_or(0.0, |(_, part)| *part);
    assert!(0.0 < whole + part, "how much is \"{amount}\"?");
    // Out is anticlockwise, in is clockwise: the screwdriver's word must agree.
    let round = if sign < 0.0 { ", clockwise" } else { ", anticlockwise" };
    assert!(words.contains(round), "{words}");
    Some(sign * (whole + part))
}

#[tokio::test]
async fn from_start_to_setting_without_a_click_and_by_sound_alone() {
    let server = Server::new();
    let bike = Bike { found: "2.125", ..TWIN };
    let entered = garage::ready(&server, bike);
    let browser = Browser::plain().await;
    let mut heard = HeardEngine::beside(&browser, started()).await;
    browser.goto(&server.url(&entered.bench())).await;
    browser.run("window.clicks = 0; addEventListener('click', (event) => { if (event.isTrusted) clicks += 1; }, true)").await;
    browser.click("[data-do=lead]").await;

    let begun = Instant::now();
    let mut done = 0;
    let said = loop {
        heard.pass().await;
        let said = heard.spoken().await;
        for words in &said[done..] {
            if let Some(by) = told_to_turn(words) {
                let to = heard.engine().turns() + by;
                heard.engine().turn(to).expect("the bench asks for positions that a screw has");
            }
        }
        done = said.len();
        if said.last().is_some_and(|words| words.contains("Engine off")) {
            break said;
        }
        assert!(begun.elapsed() < PATIENCE, "no setting; said {said:#?}\n{}", browser.text().await);
        tokio::time::sleep(Duration::from_millis(80)).await;
    };
    let turns = heard.engine().turns();
    let shown = browser.text_of("#part-say").await;
    let readings = browser.run("return document.querySelectorAll('#part-more tbody tr').length").await;
    let (machine, air, fuel) = twin();
    let edge = machine.idle_curve(&air, &fuel).expect("it idles").lean_edge_turns().expect("it has an edge");
    figure(&format!(
        "{readings} readings in {:.0} s, set to {turns}, true lean edge {edge:.2}; spoken {} times",
        begun.elapsed().as_secs_f64(),
        said.len()
    ));
    assert_eq!(browser.run("return clicks").await, 1, "something was pressed after the start");
    assert_eq!(browser.run("return document.querySelectorAll('#part-more tr.struck').length").await, 0);
    // Liquid-cooled: an eighth richer than the edge, rounded to the richer eighth; the edge is known to a quarter.
    assert!((edge - 0.05..=edge + 0.5).contains(&turns), "set to {turns}, edge {edge}");
    let words = bellmouth_core::quantity::TurnsOut(turns).to_string();
    assert!(shown.contains(&words), "the page says {shown:?}, the screw stands at {words}");
    assert!(said.iter().any(|words| words == "Hands off."), "{said:#?}");
    assert_eq!(browser.console().await, Vec::<String>::new());
}

/// Notes what the page asks of headset, screen and socket.
const WATCH: &str = "
    window.headset = {}; window.awake = 0; window.told = [];
    MediaSession.prototype.setActionHandler = (action, act) => { headset[action] = act; };
    if (navigator.wakeLock) WakeLock.prototype.request = async () => { awake += 1; return { release() { awake -= 1; } }; };
    const send = WebSocket.prototype.send;
    WebSocket.prototype.send = function (data) {
        if (typeof data === 'string') told.push(JSON.parse(data));
        return send.call(this, data);
    };";

#[tokio::test]
async fn a_headset_button_rests_goes_on_and_asks_again_and_tones_stand_for_words() {
    let server = Server::new();
    let entered = garage::ready(&server, Bike { idle_rpm: "1050", ..TWIN });
    let browser =
        Browser::open(Setup { microphone: Some(Idling::twin_45(1040.0, 150.0)), ..Setup::default() }).await;
    browser.before_every_page(WATCH).await;
    browser.goto(&server.url(&entered.bench())).await;
    browser.until_text("Set the idle to 1050").await;
    browser.click("[data-do=lead]").await;
    // This browser has no voice: tones, and their end is told as the end of words would be.
    let spoke = "return told.some((word) => word.say === 'voice' && word.speaking === false)";
    browser.until("the tones have ended", spoke).await;
    assert_eq!(browser.run("return speechSynthesis.getVoices().length").await, 0);
    assert_eq!(browser.run("return awake").await, 1);
    // The stop stands right: it is heard, and the sweep begins.
    browser.until_text("Leave it at 1¾").await;
    browser.until_text("Hands off").await;
    browser.run("headset.nexttrack()").await;
    browser.until_text("Leave it at 1¾").await;
    browser.run("headset.pause()").await;
    browser.until_text("only the kill switch stops it").await;
    browser.run("headset.play()").await;
    browser.until_text("Hands off").await;
    assert_eq!(browser.run("return document.querySelectorAll('#part-more tbody tr').length").await, 0);
    browser.click("[data-do=deafen]").await;
    browser.until("the screen may go dark", "return awake === 0").await;
    assert_eq!(browser.console().await, Vec::<String>::new());
}

//! From an empty garage to a reading that was taken by itself.

use std::time::Duration;

use bellmouth_browser_tests::browser::PATIENCE;
use bellmouth_browser_tests::engine_sound::Idling;
use bellmouth_browser_tests::{Browser, Server, Setup, figure, folder};

const TRUE_RPM: f64 = 1040.0;

/// Notes when the microphone key was pressed, when sound first left the page, and every speed shown.
const WATCH: &str = r#"
    window.watch = { pressed: null, sound: null, shown: [] };
    const send = WebSocket.prototype.send;
    WebSocket.prototype.send = function (data) {
        if (typeof data !== "string") watch.sound ??= performance.now();
        return send.call(this, data);
    };
    addEventListener("click", (event) => {
        if (event.target.closest("[data-do=listen]")) watch.pressed = performance.now();
    }, true);
    addEventListener("DOMContentLoaded", () => {
        const numeral = document.querySelector("[data-live=rpm]");
        if (!numeral) return;
        const note = () => watch.shown.push([performance.now(), Number(numeral.textContent) || null]);
        new MutationObserver(note).observe(numeral, { childList: true, characterData: true, subtree: true });
    });
"#;

#[tokio::test]
async fn from_an_empty_garage_to_a_reading_taken_by_itself() {
    let sound = folder("sound").join("idle.wav");
    Idling::twin_45(TRUE_RPM, 150.0).write_wav(&sound);
    let server = Server::new();
    let browser = Browser::open(Setup { microphone: Some(sound), ..Setup::default() }).await;
    browser.before_every_page(WATCH).await;

    browser.goto(&server.url("/")).await;
    browser.leave_by("a[href='/machine/new']", "/machine/new").await;
    browser.fill("input[name=name]", "the green 750 twin").await;
    let layouts = browser.find("select[name=layout]").await;
    layouts.select_by_value("v-twin-45").await.expect("the 45° twin can be chosen");
    browser.click("input[name=cooling][value=liquid]").await;
    browser.click("form .key.main").await;
    browser.until_text("No job yet").await;
    browser.fill("input[name=complaint]", "coughs when the throttle is cracked open").await;
    browser.click("form.card .key.main").await;
    browser.until_text("coughs when the throttle is cracked open").await;

    // The guided count: one whole turn, and six eighths.
    browser.leave_by(".stages a[href$='/found']", "/found").await;
    browser.click("[data-step='1']").await;
    for _ in 0..6 {
        browser.click("[data-step='0.125']").await;
    }
    assert_eq!(browser.text_of(".count output").await, "1¾");
    browser.leave_by("form .key.main", "/screw").await;
    browser.click("input[name=screw][value=fuel]").await;
    browser.leave_by("form .key.main", "/check").await;
    for question in browser
        .run("return [...new Set([...document.querySelectorAll('[name^=gate-]')].map(i => i.name))]")
        .await
        .as_array()
        .expect("names of questions")
    {
        browser.click(&format!("input[name='{}'][value=good]", question.as_str().unwrap_or_default())).await;
    }
    browser.leave_by("form .key.main", "/idle").await;

    browser.click("[data-do=listen]").await;
    let close = format!(
        "return watch.shown.some(([, rpm]) => rpm !== null && Math.abs(rpm - {TRUE_RPM}) <= 0.02 * {TRUE_RPM})"
    );
    browser.until("a speed within 2 % of the truth is shown", &close).await;
    browser.click("[data-key=main]").await;
    browser.until_text("Hands off").await;
    browser
        .until(
            "the hold is measured",
            "return document.querySelector('[data-live=hold]').textContent.startsWith('measured')",
        )
        .await;

    let times = browser.run(&format!(
        "const first = watch.shown.find(([, rpm]) => rpm !== null && Math.abs(rpm - {TRUE_RPM}) <= 0.02 * {TRUE_RPM})[0];
         const last = watch.shown.at(-1)[0], late = watch.shown.filter(([t]) => last - t < 5000);
         const wrong = watch.shown.filter(([, rpm]) => rpm !== null && Math.abs(rpm - {TRUE_RPM}) > 0.02 * {TRUE_RPM}).length;
         return {{ key: first - watch.pressed, sound: first - watch.sound, rate: (late.length - 1) / (last - late[0][0]) * 1000, wrong }}"
    )).await;
    let number = |name: &str| times[name].as_f64().unwrap_or(f64::NAN);
    figure(&format!(
        "right speed {:.2} s after the key, {:.2} s after the first sound; {:.1} live speeds a second",
        number("key") / 1000.0,
        number("sound") / 1000.0,
        number("rate")
    ));
    assert_eq!(times["wrong"], 0, "a speed off by more than 2 % was shown");
    assert!(10.0 <= number("rate"), "{times}");

    browser
        .until_within(
            2 * PATIENCE,
            "the reading is saved",
            "return document.querySelectorAll('#part-more tbody tr').length === 1",
        )
        .await;
    let row = browser.text_of("#part-more tbody tr").await;
    assert!(row.contains("1¾") && row.contains("found") && row.contains("microphone"), "{row}");
    let rpm: f64 = browser
        .text_of("#part-more td.number")
        .await
        .split(' ')
        .next()
        .unwrap_or_default()
        .parse()
        .expect("a speed");
    figure(&format!("reading {rpm} rpm of {TRUE_RPM}"));
    assert!((rpm - TRUE_RPM).abs() < 0.01 * TRUE_RPM, "{row}");

    // The curve stands, and the next position is proposed.
    browser
        .until(
            "the curve is drawn",
            "return document.querySelector('#part-curve svg .hold, #part-curve svg .found') !== null",
        )
        .await;
    browser.until_text("Turn ").await;
    assert!(browser.text_of("#part-say").await.contains("Turn "), "{}", browser.text().await);
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert_eq!(browser.console().await, Vec::<String>::new());
}

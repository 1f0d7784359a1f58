//! Every way a microphone can fail has its words and a way on.

use std::time::Duration;

use bellmouth_browser_tests::engine_sound::Idling;
use bellmouth_browser_tests::garage::{self, Bike, TWIN};
use bellmouth_browser_tests::{Browser, Server, Setup};

async fn with_sound() -> Browser {
    Browser::open(Setup { microphone: Some(Idling::twin_45(980.0, 100.0)), ..Setup::default() }).await
}

/// Waits for a notice, checks its words, and that it can be put away.
async fn told(browser: &Browser, name: &str, words: &str) {
    let shown = format!("return !document.querySelector('#notice-{name}').hidden");
    browser.until(&format!("notice \"{name}\" is shown"), &shown).await;
    let text = browser.text_of(&format!("#notice-{name}")).await;
    assert!(text.contains(words), "{name}: {text}");
    let hidden = format!("return document.querySelector('#notice-{name}').hidden");
    browser.click(&format!("#notice-{name} [data-do=dismiss]")).await;
    browser.until("it is put away", &hidden).await;
}

const KEY_IS_BACK: &str = "return document.querySelector('[data-do=listen]').offsetParent !== null";

#[tokio::test]
async fn a_microphone_that_cannot_be_had_says_why_and_what_to_do_instead() {
    let server = Server::new();
    let job = garage::ready(&server, TWIN).job;
    let browser = Browser::plain().await;
    let failing = |error: &str| {
        format!(
            "navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException('no', '{error}'))"
        )
    };
    let cases = [
        (failing("NotAllowedError"), "refused", "Allow it for this page"),
        (failing("NotFoundError"), "none", "Plug one in"),
        (failing("NotReadableError"), "busy", "another program may hold it"),
        (
            "Object.defineProperty(navigator, 'mediaDevices', { value: undefined, configurable: true })"
                .into(),
            "insecure",
            "localhost",
        ),
    ];
    for (script, name, words) in cases {
        browser.goto(&server.url(&format!("{job}/idle"))).await;
        browser.run(&script).await;
        browser.click("[data-do=listen]").await;
        told(&browser, name, words).await;
        browser.until("the key is back", KEY_IS_BACK).await;
        // The way on that every text names.
        assert_eq!(
            browser.run("return document.querySelector('details[data-key=typed]') !== null").await,
            true
        );
    }
}

#[tokio::test]
async fn a_microphone_that_gives_too_little_is_told_while_it_runs() {
    let server = Server::new();
    let job = garage::ready(&server, TWIN).job;
    let browser = with_sound().await;
    let settings = |settings: &str| format!("MediaStreamTrack.prototype.getSettings = () => ({settings})");
    let cases = [
        (settings("{ sampleRate: 16000 }"), "telephone", "headset in its telephone mode"),
        (settings("{ sampleRate: 48000, echoCancellation: true }"), "processed", "eats steady tones"),
        (
            "navigator.mediaDevices.getUserMedia = () => Promise.resolve(new AudioContext().createMediaStreamDestination().stream)".into(),
            "muted",
            "gives nothing at all",
        ),
    ];
    for (script, name, words) in cases {
        browser.goto(&server.url(&format!("{job}/idle"))).await;
        browser.run(&script).await;
        browser.click("[data-do=listen]").await;
        told(&browser, name, words).await;
    }
}

#[tokio::test]
async fn a_hold_survives_neither_a_hidden_page_nor_a_pulled_plug_but_everything_saved_does() {
    let server = Server::new();
    let job = garage::ready(&server, TWIN).job;
    let browser = with_sound().await;
    // Keeps hold of the track, to pull its plug.
    browser
        .before_every_page(
            "const real = MediaDevices.prototype.getUserMedia;
             MediaDevices.prototype.getUserMedia = async function (wanted) {
                 const stream = await real.call(this, wanted);
                 window.track = stream.getAudioTracks()[0];
                 return stream;
             };",
        )
        .await;
    browser.goto(&server.url(&format!("{job}/idle"))).await;
    crate::keys::type_reading(&browser, "1.75", "1010").await;
    browser.click("[data-do=listen]").await;
    browser.click("[data-key=main]").await;
    let settling =
        "return /^(settling [3-9]|measured)/.test(document.querySelector('[data-live=hold]').textContent)";
    browser.until("the hold has begun to settle", settling).await;

    browser
        .run(
            "Object.defineProperty(document, 'hidden', { get: () => window.away, configurable: true });
             window.away = true; document.dispatchEvent(new Event('visibilitychange'));",
        )
        .await;
    tokio::time::sleep(Duration::from_millis(1300)).await;
    browser.run("window.away = false; document.dispatchEvent(new Event('visibilitychange'));").await;
    told(&browser, "hidden", "the hold began anew").await;
    let anew =
        "return /^(settling [0-2] |hands off)/.test(document.querySelector('[data-live=hold]').textContent)";
    browser.until("the hold began anew", anew).await;

    browser.run("track.stop(); track.dispatchEvent(new Event('ended'))").await;
    told(&browser, "unplugged", "saved readings are kept").await;
    browser.until("the key is back", KEY_IS_BACK).await;
    browser
        .until(
            "no old speed stands there as if it were now",
            "return document.querySelector('[data-live=rpm]').textContent === '––'",
        )
        .await;
    assert_eq!(browser.run("return document.querySelectorAll('#part-more tbody tr').length").await, 1);
    browser.click("[data-do=listen]").await;
    let heard = "return Math.abs(Number(document.querySelector('[data-live=rpm]').textContent) - 980) < 20";
    browser.until("it is heard again", heard).await;
}

#[tokio::test]
async fn one_page_at_a_time_listens_and_an_engine_without_layout_is_not_guessed_at() {
    let server = Server::new();
    let job = garage::ready(&server, TWIN).job;
    let browser = with_sound().await;
    let bench = server.url(&format!("{job}/idle"));
    let shown = "return !document.querySelector('#notice-elsewhere').hidden";
    browser.goto(&bench).await;
    browser.click("[data-do=listen]").await;
    browser
        .until("it listens", "return Number(document.querySelector('[data-live=rpm]').textContent) > 900")
        .await;
    let (first, second) = browser.new_tab().await;
    browser.goto(&bench).await;
    // Without asking: it shows the same speed all the same, and may take over.
    browser.until("the second page is told", shown).await;
    browser
        .until(
            "it shows the speed",
            "return Number(document.querySelector('[data-live=rpm]').textContent) > 900",
        )
        .await;
    browser.click("[data-do=takeover]").await;
    browser.tab(&first).await;
    browser.until("the first page is told, and may take it back", shown).await;
    browser.tab(&second).await;
    browser.until("the second listens", "return document.body.classList.contains('listening')").await;

    let unknown =
        garage::ready(&server, Bike { name: "layout not given", layout: "", about_rpm: "1000", ..TWIN });
    browser.goto(&server.url(&unknown.bench())).await;
    browser.click("[data-do=listen]").await;
    told(&browser, "layout", "the ear needs it").await;
}

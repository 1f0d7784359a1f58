//! A recording dropped on the bench is a reading like any other.

use bellmouth_browser_tests::engine_sound::Idling;
use bellmouth_browser_tests::garage::{self, TWIN};
use bellmouth_browser_tests::{Browser, Server};

const TRUE_RPM: f64 = 915.0;

#[tokio::test]
async fn a_dropped_recording_gives_a_reading_and_a_file_that_is_none_gives_a_sentence() {
    let sounds = tempfile::tempdir().expect("a folder can be made");
    let clip = sounds.path().join("hold at 1¾.wav");
    Idling::twin_45(TRUE_RPM, 32.0).write_wav(&clip);
    let none = sounds.path().join("notes.wav");
    std::fs::write(&none, "turned it in a little").expect("a file can be written");
    let server = Server::new();
    let job = garage::ready(&server, TWIN).job;
    let browser = Browser::plain().await;
    browser.goto(&server.url(&format!("{job}/idle"))).await;

    browser.click("details[data-key=clip] > summary").await;
    let field = browser.find("details[data-key=clip] input[type=file]").await;
    field.send_keys(&none.display().to_string()).await.expect("a file can be chosen");
    browser
        .until(
            "the toast tells",
            "return document.querySelector('#toast p').textContent.includes('notes.wav')",
        )
        .await;
    let rows = "document.querySelectorAll('details[data-key=readings] tbody tr').length";
    assert_eq!(browser.run(&format!("return {rows}")).await, 0);
    browser.until("the keys are free", "return !document.querySelector('form.busy')").await;

    // Dropped anywhere on the page: what a hand does with a file, done with one read from the field.
    let field = browser.find("details[data-key=clip] input[type=file]").await;
    browser
        .run(
            "const field = document.querySelector('[data-drop] input[type=file]');
             const drop = (event) => {
                 event.stopImmediatePropagation();
                 const files = new DataTransfer();
                 files.items.add(field.files[0]);
                 field.value = '';
                 document.dispatchEvent(new DragEvent('drop', { dataTransfer: files, bubbles: true, cancelable: true }));
             };
             // On the way down, before the page's own listener on the field.
             field.parentElement.addEventListener('change', drop, { capture: true, once: true });",
        )
        .await;
    field.send_keys(&clip.display().to_string()).await.expect("a file can be chosen");
    browser.until("the reading is saved", &format!("return {rows} === 1")).await;
    let row = browser.text_of("details[data-key=readings] tbody tr").await;
    assert!(row.contains("recording") && row.contains("1¾"), "{row}");
    let speed = browser.text_of("details[data-key=readings] td.number").await;
    let rpm: f64 = speed.split(' ').next().unwrap_or_default().parse().expect("a speed");
    bellmouth_browser_tests::figure(&format!("recording of {TRUE_RPM} rpm read as {speed}"));
    assert!((rpm - TRUE_RPM).abs() < 0.01 * TRUE_RPM, "{row}");
    let firings = browser.text_of("details[data-key=firings]").await;
    assert!(firings.contains("Single firings, recording at 1¾"), "{firings}");
    assert!(firings.contains("Strength finds a missing cylinder, never a lean one."), "{firings}");
    assert_eq!(browser.run("return document.querySelectorAll('#firings tbody tr').length").await, 2);
}

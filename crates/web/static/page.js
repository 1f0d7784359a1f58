// The count pad: whole turns and eighths on large keys. Without this module the plain number field serves.
const EIGHTHS = ["", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞"];

export function fraction(turns) {
  const eighths = Math.round(turns * 8);
  const whole = Math.floor(eighths / 8);
  return (whole || !(eighths % 8) ? String(whole) : "") + EIGHTHS[eighths % 8];
}

for (const pad of document.querySelectorAll(".count")) {
  pad.parentElement.closest(".plain")?.classList.remove("plain");
  const field = pad.querySelector("input");
  const shown = pad.querySelector("output");
  // Not counted yet is not the same as counted to nought.
  const show = () => { shown.textContent = field.value === "" ? "–" : fraction(Number(field.value)); };
  pad.addEventListener("click", (event) => {
    const step = Number(event.target.closest("[data-step]")?.dataset.step ?? 0);
    if (!step) return;
    const most = Number(field.max);
    field.value = Math.min(most, Math.max(0, Number(field.value || 0) + step));
    show();
  });
  show();
}

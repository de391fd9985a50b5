"use strict";
// The page begins: its stations, and the buttons that belong to none of them.

function printed(part) {
  document.body.dataset.print = part;
  window.print();
}

const stations = DATA.stations.map((part) => {
  if (part.kind === "play") return new PlayStation(part);
  return part.kind === "stage" ? new StageStation(part) : new TryStation(part);
});
byId("level").addEventListener("input", ({target}) => {
  engine.setLevel(Number(target.value));
  target.setAttribute("aria-valuetext", `${target.value.replace("-", "−")} dB`);
});
byId("stop").addEventListener("click", () => engine.stop());
document.addEventListener("keydown", ({key}) => {
  if (key === "Escape") engine.stop();
});
document.querySelectorAll("[data-prints]").forEach((button) => {
  button.addEventListener("click", () => printed(button.dataset.prints));
});
window.addEventListener("afterprint", () => delete document.body.dataset.print);
window.addEventListener("resize", () => stations.forEach((station) => station.draw()));
document.fonts.ready.then(() => stations.forEach((station) => station.draw()));
// The page ends its sound when it is put away, so that nothing plays on unseen.
document.addEventListener("visibilitychange", () => {
  if (document.hidden) engine.stop();
});
document.documentElement.dataset.ready = "yes";

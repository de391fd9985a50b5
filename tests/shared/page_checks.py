"""What a page is looked through for in Chromium: texts that overlap or are cut, and pale ones."""

from __future__ import annotations

LEAST_CONTRAST = 4.5  # of text: W3C, Web Content Accessibility Guidelines 2.2, 1.4.3

TEXTS = """
const shown = [];
const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walker.nextNode()) {
  const node = walker.currentNode;
  const holder = node.parentElement;
  if (!node.textContent.trim() || holder.closest("script, .bar, dialog, .paper")) continue;
  if (!holder.checkVisibility({visibilityProperty: true})) continue;
  const range = document.createRange();
  range.selectNodeContents(node);
  for (const box of range.getClientRects()) if (box.width > 1) shown.push({node, holder, box});
}
"""
OVERLAPS = (
    "(() => {"
    + TEXTS
    + """
const found = [];
shown.forEach((one, k) => shown.slice(k + 1).forEach((two) => {
  if (one.node === two.node) return;
  const wide = Math.min(one.box.right, two.box.right) - Math.max(one.box.left, two.box.left);
  const high = Math.min(one.box.bottom, two.box.bottom) - Math.max(one.box.top, two.box.top);
  if (wide > 1 && high > 3) found.push(one.node.textContent + " | " + two.node.textContent);
}));
for (const {node, box} of shown) {
  if (box.left < 0 || box.right > innerWidth + 1) found.push("beyond: " + node.textContent);
}
if (document.documentElement.scrollWidth > innerWidth) found.push("wider than the window");
return [shown.length, found];
})()"""
)
CONTRAST = (
    "(() => {"
    + TEXTS
    + """
const light = (colour) => {
  const [r, g, b] = colour.match(/[\\d.]+/g).slice(0, 3).map((part) => {
    const share = part / 255;
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const ground = (holder) => {
  for (let at = holder; at; at = at.parentElement) {
    const colour = getComputedStyle(at).backgroundColor;
    if (!/, 0\\)|transparent/.test(colour)) return colour;
  }
  return "rgb(255, 255, 255)";
};
let least = 99;
for (const {holder} of shown) {
  const [one, two] = [light(getComputedStyle(holder).color), light(ground(holder))].sort((a, b) => b - a);
  least = Math.min(least, (one + 0.05) / (two + 0.05));
}
const probe = document.createElement("p");
document.body.append(probe);
const seen = (colour) => { probe.style.color = colour; return light(getComputedStyle(probe).color); };
for (const name of ["ink", "quiet"]) least = Math.min(least, (seen(LOOK.paper) + 0.05) / (seen(LOOK[name]) + 0.05));
probe.remove();
return least;
})()"""
)
CANVAS = """(() => {
const found = [];
let count = 0;
const write = CanvasRenderingContext2D.prototype.fillText;
let boxes = [];
CanvasRenderingContext2D.prototype.fillText = function (text, x, y) {
  const size = this.measureText(text);
  const box = {
    text, left: x - size.actualBoundingBoxLeft, right: x + size.actualBoundingBoxRight,
    top: y - size.actualBoundingBoxAscent, bottom: y + size.actualBoundingBoxDescent, canvas: this.canvas,
  };
  boxes.push(box);
  write.call(this, text, x, y);
};
for (const station of stations) {
  for (const place of [0, 500, 1000]) {
    boxes = [];
    station.slowing.value = place;
    station.slowed();
    count += boxes.length;
    boxes.forEach((one, k) => {
      const {clientWidth, clientHeight} = one.canvas;
      if (one.left < -1 || one.right > clientWidth + 1 || one.top < -1 || one.bottom > clientHeight + 1) {
        found.push(`cut: ${one.text}`);
      }
      boxes.slice(k + 1).forEach((two) => {
        if (one.canvas !== two.canvas) return;
        const wide = Math.min(one.right, two.right) - Math.max(one.left, two.left);
        const high = Math.min(one.bottom, two.bottom) - Math.max(one.top, two.top);
        if (wide > 0.5 && high > 0.5 && !(one.text === two.text)) found.push(`${one.text} | ${two.text}`);
      });
    });
  }
}
CanvasRenderingContext2D.prototype.fillText = write;
return [count, [...new Set(found)]];
})()"""

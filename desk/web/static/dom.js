// Making elements. Text always goes in as text: nothing that anybody typed is ever parsed as HTML.
const SVG = "http://www.w3.org/2000/svg";

export function h(name, attributes = {}, ...children) {
  return fill(document.createElement(name), attributes, children);
}

export function s(name, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, name), attributes, children);
}

function fill(element, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

export const when = (iso) => new Date(iso).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });

export const today = () => new Date().toLocaleDateString([], { weekday: "long", day: "numeric", month: "long" });

export function say(words) {
  const place = document.getElementById("say");
  place.textContent = words;
  clearTimeout(say.timer);
  say.timer = setTimeout(() => (place.textContent = ""), 6000);
}

// Shows new content and keeps focus and scroll where they were, so that news from another phone
// never throws anybody out of what they are doing.
export function show(...content) {
  const screen = document.getElementById("screen");
  const key = document.activeElement?.dataset?.key;
  const zooms = [...screen.querySelectorAll("[data-keep]")].map((z) => [z.dataset.keep, z.scrollLeft, z.scrollTop]);
  screen.replaceChildren(...content.flat(Infinity).filter(Boolean));
  if (key) screen.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
  for (const [keep, left, top] of zooms) screen.querySelector(`[data-keep="${CSS.escape(keep)}"]`)?.scrollTo(left, top);
}

export function dialog(title, ...content) {
  const close = h("button", { onclick: () => box.close() }, "Close");
  const box = h("dialog", { "aria-label": title }, h("div", { class: "row top" }, h("h2", { class: "grow", tabindex: "-1" }, title), close), ...content);
  box.addEventListener("close", () => box.remove());
  document.body.append(box);
  box.showModal();
  return box;
}

// A sign for each colour, so that nothing hangs on seeing its tint.
const PATHS = {
  circle: "M12 3a9 9 0 1 0 .01 0z", square: "M4 4h16v16H4z", triangle: "M12 3l10 18H2z", diamond: "M12 2l10 10-10 10L2 12z",
  cross: "M9 3h6v6h6v6h-6v6H9v-6H3V9h6z", star: "M12 2l3 7 7 .6-5.4 4.8L18.300 22 12 18l-6.300 4 1.700-7.600L2 9.600 9 9z",
  hexagon: "M7 3h10l5 9-5 9H7l-5-9z", bar: "M2 8h20v8H2z", ring: "M12 2a10 10 0 1 0 .01 0zm0 6a4 4 0 1 1-.01 0z", drop: "M12 2c5 7 7 9 7 13a7 7 0 0 1-14 0c0-4 2-6 7-13z",
};

export function sign(colour) {
  return s("svg", { class: "sign", viewBox: "0 0 24 24", "aria-hidden": "true" },
    s("path", { d: PATHS[colour?.shape] ?? "M4 12h16", fill: colour?.tint ?? "none", "fill-rule": "evenodd", stroke: "currentColor" }));
}

export function field(label, input, hint) {
  return h("label", { class: "field" }, label, hint ? h("small", {}, hint) : null, input);
}

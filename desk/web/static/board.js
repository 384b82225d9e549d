// A board on its photo: outlines, letters, doubts by shape as well as colour; taps; proofs lit up.
import { h, s } from "./dom.js";

const points = (outline) => outline.map(([x, y]) => `${x},${y}`).join(" ");
const box = (outlines) => {
  const all = outlines.flat();
  const [xs, ys] = [all.map((p) => p[0]), all.map((p) => p[1])];
  const [left, top] = [Math.min(...xs), Math.min(...ys)];
  return [left, top, Math.max(...xs) - left, Math.max(...ys) - top];
};
const middle = (outline) => { const [x, y, w, d] = box([outline]); return [x + w / 2, y + d / 2]; };

// place: {picture, width, height, outlines}; cells: by id {letter, colour, state}; lit, wanted: cell ids.
export function boardSvg(place, cells, { label, lit = null, wanted = [], tap = null, whole = false, letters = true } = {}) {
  const [x, y, w, d] = box(Object.values(place.outlines));
  const rim = 0.06 * Math.max(w, d);
  const view = whole ? [0, 0, place.width, place.height] : [x - rim, y - rim, w + 2 * rim, d + 2 * rim];
  const svg = s("svg", { class: "board", viewBox: view.map(Math.round).join(" "), role: tap ? "group" : "img", "aria-label": label });
  svg.append(s("image", { href: place.picture, width: place.width, height: place.height }));
  const ids = Object.keys(place.outlines);
  if (lit) {
    const hole = `M0 0H${place.width}V${place.height}H0Z ` + [...lit, ...wanted].map((id) => "M" + place.outlines[id].map((p) => p.join(" ")).join("L") + "Z").join(" ");
    svg.append(s("path", { class: "dim", d: hole }));
  }
  const drawn = lit ? ids.filter((id) => lit.includes(id) || wanted.includes(id)) : ids;
  const order = [...drawn].sort((a, b) => (cells[a]?.state !== "sure") - (cells[b]?.state !== "sure"));
  const groups = new Map();
  for (const id of order) {
    const cell = cells[id] ?? {};
    const outline = points(place.outlines[id]);
    const kind = wanted.includes(id) ? "want" : lit ? "lit" : cell.state ?? "sure";
    const [mx, my] = middle(place.outlines[id]);
    const mark = { open: "?", answered: "!" }[cell.state] ?? "";
    const words = `${id}, ${cell.colour ?? ""}${{ open: ", unsure", answered: ", said by a person" }[cell.state] ?? ""}`;
    const group = s("g", tap ? { role: "button", tabindex: "-1", "aria-label": words, "data-key": `cell-${id}`, "data-cell": id } : {},
      s("polygon", { class: "under", points: outline }), s("polygon", { class: `edge ${kind}`, points: outline }),
      letters ? s("text", { class: "letter", x: mx, y: my }, (cell.letter ?? "") + mark) : null);
    if (tap) group.addEventListener("click", () => tap(id));
    groups.set(id, group);
    svg.append(group);
  }
  if (tap) keys(svg, place, ids, groups, tap);
  return svg;
}

// One stop for the tab key; arrows go to the nearest cell that way, Enter opens it.
function keys(svg, place, ids, groups, tap) {
  groups.get(ids[0])?.setAttribute("tabindex", "0");
  svg.addEventListener("keydown", (event) => {
    const here = event.target.closest?.("[data-cell]")?.dataset.cell;
    if (!here) return;
    if (event.key === "Enter" || event.key === " ") { event.preventDefault(); tap(here); return; }
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!way) return;
    event.preventDefault();
    const [x, y] = middle(place.outlines[here]);
    let best = null;
    for (const id of ids) {
      const [a, b] = middle(place.outlines[id]);
      const along = (a - x) * way[0] + (b - y) * way[1];
      const aside = Math.abs((a - x) * way[1]) + Math.abs((b - y) * way[0]);
      if (along > 1 && aside < 1.2 * along && (!best || along + 2 * aside < best.cost)) best = { id, cost: along + 2 * aside };
    }
    if (!best) return;
    groups.get(here).setAttribute("tabindex", "-1");
    groups.get(best.id).setAttribute("tabindex", "0");
    groups.get(best.id).focus();
  });
}

const zooms = new Map();

export function zoomable(svg, keep) {
  const level = () => zooms.get(keep) ?? 1;
  const frame = h("div", { class: "zoom", "data-zoom": level(), "data-keep": keep, tabindex: "0", role: "region", "aria-label": "Photo; scroll to move" }, svg);
  const set = (change) => { zooms.set(keep, Math.max(1, Math.min(4, level() + change))); frame.dataset.zoom = level(); };
  return [frame, h("div", { class: "row noprint" },
    h("button", { "data-key": "nearer", onclick: () => set(1) }, "Larger"), h("button", { "data-key": "farther", onclick: () => set(-1) }, "Smaller"))];
}

export function crop(place, id, label) {
  const [x, y, w, d] = box([place.outlines[id]]);
  const reach = 1.15 * Math.max(w, d);
  const outline = points(place.outlines[id]);
  return s("svg", { class: "crop", viewBox: [x + w / 2 - reach, y + d / 2 - reach, 2 * reach, 2 * reach].join(" "), role: "img", "aria-label": label },
    s("image", { href: place.picture, width: place.width, height: place.height }),
    s("polygon", { class: "under", points: outline, "stroke-width": 3 }), s("polygon", { class: "edge", points: outline }));
}

// Four corners to drag, or tap one after another, or move with the arrow keys; a magnifier shows where.
export function cornerPicker(picture, size, start, done, what = "board") {
  const [width, height] = [size.width, size.height];
  const spots = start ?? [[0.15, 0.15], [0.85, 0.15], [0.85, 0.85], [0.15, 0.85]].map(([u, v]) => [u * width, v * height]);
  const names = ["top left", "top right", "bottom right", "bottom left"];
  let active = 0;
  let taps = 0;
  const ring = Math.max(width, height) / 20;
  const svg = s("svg", { class: "board", viewBox: `0 0 ${width} ${height}`, role: "group", "aria-label": "The photo with the four corners" }, s("image", { href: picture, width, height }));
  const frame = s("polygon", { class: "edge answered" });
  svg.append(frame);
  const glass = s("svg", { class: "glass", "aria-hidden": "true" }, s("image", { href: picture, width, height }), s("line"), s("line"));
  const said = h("p", { role: "status" });
  const handles = names.map((name, i) => s("g", { class: "handle", tabindex: "0", role: "slider", "aria-label": `Corner ${i + 1}, ${name} of the ${what}`, "aria-valuenow": 0, "aria-valuetext": "" },
    s("circle", { class: "ring", r: ring }), s("circle", { class: "rim", r: ring }), s("text", { dy: -1.3 * ring }, String(i + 1))));
  svg.append(...handles);
  const draw = () => {
    frame.setAttribute("points", points(spots));
    handles.forEach((handle, i) => {
      handle.setAttribute("transform", `translate(${spots[i][0]} ${spots[i][1]})`);
      handle.setAttribute("aria-valuenow", Math.round(spots[i][0]));
      handle.setAttribute("aria-valuetext", `${Math.round(spots[i][0])} across, ${Math.round(spots[i][1])} down`);
    });
    const [x, y] = spots[active];
    const reach = ring * 1.4;
    glass.setAttribute("viewBox", [x - reach, y - reach, 2 * reach, 2 * reach].join(" "));
    const [across, down] = glass.querySelectorAll("line");
    for (const [key, value] of Object.entries({ x1: x - reach, x2: x + reach, y1: y, y2: y, "stroke-width": reach / 40 })) across.setAttribute(key, value);
    for (const [key, value] of Object.entries({ x1: x, x2: x, y1: y - reach, y2: y + reach, "stroke-width": reach / 40 })) down.setAttribute(key, value);
    said.textContent = `Corner ${active + 1}: ${names[active]} of the ${what}.`;
  };
  const at = (event) => {
    const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [Math.max(0, Math.min(width, spot.x)), Math.max(0, Math.min(height, spot.y))];
  };
  let dragging = false;
  svg.addEventListener("pointerdown", (event) => {
    const spot = at(event);
    const near = spots.findIndex((p) => Math.hypot(p[0] - spot[0], p[1] - spot[1]) < 1.6 * ring);
    if (near >= 0) active = near;
    else { active = taps % 4; taps += 1; spots[active] = spot; }
    dragging = true;
    svg.setPointerCapture(event.pointerId);
    event.preventDefault();
    draw();
  });
  svg.addEventListener("pointermove", (event) => { if (dragging) { spots[active] = at(event); draw(); } });
  svg.addEventListener("pointerup", () => (dragging = false));
  handles.forEach((handle, i) => {
    handle.addEventListener("focus", () => { active = i; draw(); });
    handle.addEventListener("keydown", (event) => {
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!way) return;
      event.preventDefault();
      const step = event.shiftKey ? 20 : 2;
      spots[i] = [Math.max(0, Math.min(width, spots[i][0] + way[0] * step)), Math.max(0, Math.min(height, spots[i][1] + way[1] * step))];
      draw();
    });
  });
  draw();
  const scale = width / size.full_size_px[0];
  const full = () => spots.map(([x, y]) => [x / scale - 0.5, y / scale - 0.5]);
  return [h("p", {}, `Tap the ${what}’s four corners, beginning with the one that is its top left${what === "board" ? " (where A1 is)" : ""}, clockwise. Then drag each to fit; the arrow keys move the chosen one, with Shift farther.`),
    h("div", { class: "row" }, glass, h("div", { class: "grow" }, said)), h("div", { class: "pick" }, svg),
    h("div", { class: "row" }, h("button", { class: "first", onclick: () => done(full()) }, "These are the corners"))];
}

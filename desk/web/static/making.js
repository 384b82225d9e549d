// Making a sheet from a photo of the empty board, its cards, its printed pages; the shelf of tables.
import { call, me, Refused, tell } from "./api.js";
import { cornerPicker } from "./board.js";
import { dialog, field, h, s, say, today, when } from "./dom.js";

const redraw = () => dispatchEvent(new Event("draw"));

export async function put(path, file) {
  const upload = [...crypto.getRandomValues(new Uint8Array(12))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const query = new URLSearchParams({ upload, name: file.name || "file" });
  const answer = await fetch(`${path}?${query}`, { method: "PUT", headers: { "X-Tallyglass": "1" }, body: file }).catch(() => null);
  const told = await answer?.json().catch(() => ({}));
  if (!answer?.ok) { say(told?.problem ?? "The desk cannot be reached. Try again."); return undefined; }
  return told;
}

export const filePicker = (label, accept, key, take) => h("label", { class: "file grow first" }, label,
  h("input", { type: "file", accept, "data-key": key, "aria-label": label, onchange: (event) => { const [file] = event.target.files; event.target.value = ""; if (file) take(file); } }));

// The draft of a new sheet stays in this browser until it is accepted; the photo is on the desk.
const DRAFT = "new-sheet";
const draft = () => JSON.parse(localStorage.getItem(DRAFT) ?? "{}");
const keep = (change) => { localStorage.setItem(DRAFT, JSON.stringify({ ...draft(), ...change })); redraw(); };
let seen = null;

const asked = (made) => ({ photo: made.photo, corners_px: made.corners_px ?? null, size_mm: made.size_mm ?? null, cells: made.cells ?? [], anchors: made.anchors ?? [], support: made.support ?? "any" });

export async function newSheet() {
  const made = draft();
  const restart = h("button", { class: "plain", onclick: () => { localStorage.removeItem(DRAFT); seen = null; redraw(); } }, "Begin anew");
  const head = h("h1", {}, "A new game sheet");
  if (!made.photo) return [head, h("p", {}, "Photograph the empty board straight from above, whole, in even light. With the four printed corner cards beside it, nothing needs to be measured."), h("div", { class: "row" }, filePicker("Photo of the empty board", "image/*", "board-photo", sendBoard)), h("p", { class: "quiet" }, "Ask the people whose table it is; keep hands and faces out.")];
  if (!made.corners_px) return corners(head, made, restart);
  if (!made.size_mm && !made.cards) return sizes(head, made, restart);
  return proposal(head, made, restart);
}

async function sendBoard(file) {
  say("Sending the photo …");
  const told = await put("/api/boards/photo", file);
  if (told) keep({ photo: told.photo, address: told.address, picture: told.picture, cards: told.cards, corners_px: told.corners_px });
}

function corners(head, made, restart) {
  if (document.getElementById("screen").querySelector(".pick")) return null;
  const start = null;
  return [head, h("p", { class: "quiet" }, made.cards ? `${made.cards} of the four corner cards are seen; they give the scale.` : "No corner cards are seen."), cornerPicker(made.address, made.picture, start, (corners_px) => keep({ corners_px })), restart];
}

function sizes(head, made, restart) {
  const [wide, high] = ["wide", "high"].map((name) => h("input", { type: "text", inputmode: "decimal", name, required: true }));
  const send = (event) => {
    event.preventDefault();
    const size_mm = [wide, high].map((input) => Number(input.value.replace(",", ".")));
    if (size_mm.every((mm) => mm >= 10 && mm <= 10000)) keep({ size_mm }); else say("Write the size in millimetres, such as 194 and 166.5.");
  };
  return [head, h("p", {}, "No printed corner card tells the scale: measure the board with a ruler."), h("form", { onsubmit: send }, field("Width in mm", wide), field("Height in mm", high), h("div", { class: "row" }, h("button", { class: "first grow", type: "submit" }, "Go on"))), restart];
}

async function proposal(head, made, restart) {
  const key = JSON.stringify(asked(made));
  if (!seen || seen.key !== key) {
    if (!seen) document.getElementById("screen").replaceChildren(head, h("p", { role: "status" }, "Looking for the cells … about ten seconds.", h("progress", { "aria-label": "Looking for the cells" })));
    try {
      seen = { key, ...(await call("POST", "/api/boards/proposal", { ...asked(made), by: me() })) };
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      seen = null;
      const undo = made.cells?.length || made.anchors?.length;
      return [head, h("p", { class: "box" }, error.message), h("div", { class: "row" }, undo ? h("button", { class: "first", onclick: () => keep({ cells: [], anchors: [] }) }, "Take my taps back") : h("button", { class: "first", onclick: () => keep({ corners_px: null }) }, "Show the corners again")), restart];
    }
  }
  const mode = made.mode ?? "cells";
  const ways = [["cells", "Taps mend cells"], ["anchors", "Taps mark where building begins"]].map(([name, words]) => h("button", { "aria-pressed": String(mode === name), class: mode === name ? "first" : "", "data-key": `mode-${name}`, onclick: () => keep({ mode: name }) }, words));
  const undo = h("button", { "data-key": "undo", disabled: !(made[mode] ?? []).length, onclick: () => keep({ [mode]: made[mode].slice(0, -1) }) }, "Undo the last tap");
  const support = h("select", { "aria-label": "Support", onchange: () => keep({ support: support.value }) }, [["any", "one inner side against a piece is enough"], ["all", "all inner sides must lie against pieces"]].map(([value, words]) => h("option", { value, selected: (made.support ?? "any") === value }, words)));
  return [head, seen.told.map((words) => h("p", { class: "quiet" }, words)),
    h("p", { role: "status" }, `${Object.keys(seen.outlines).length} cells (${seen.kind}) on ${seen.size_mm.join(" × ")} mm; building begins at ${seen.anchors.length} of them.`),
    h("p", {}, mode === "cells" ? "Tap a cell that is none to take it off; tap where one was missed to add it." : "Tap cells where a piece may lie alone, or beside all cells at the edge where building begins. Dots show the inner sides."),
    h("div", { class: "row" }, ways, undo), overlay(made, mode), made.anchors?.length ? field("A piece holds where", support) : null, details(made), restart];
}

function overlay(made, mode) {
  const path = (outline) => outline.map((p) => p.join(",")).join(" ");
  const svg = s("svg", { class: "board", viewBox: `0 0 ${seen.width} ${seen.height}`, role: "group", "aria-label": "The photo with the proposed cells", "data-key": "proposal" }, s("image", { href: seen.picture, width: seen.width, height: seen.height }));
  const spot = (x, y) => keep({ [mode]: [...(made[mode] ?? []), [x / seen.px_per_mm, y / seen.px_per_mm]] });
  for (const [id, outline] of Object.entries(seen.outlines)) {
    const [x, y] = [0, 1].map((axis) => outline.reduce((sum, p) => sum + p[axis], 0) / outline.length);
    const anchor = seen.anchors.includes(id);
    const press = (event) => { if (event.key === "Enter" || event.key === " ") { event.preventDefault(); spot(x, y); } };
    svg.append(s("g", { role: "button", tabindex: "0", "data-cell": id, "aria-label": `${id}${anchor ? ", anchor" : ""}`, onkeydown: press },
      s("polygon", { class: "under", points: path(outline) }), s("polygon", { class: `edge ${anchor ? "want" : "sure"}`, points: path(outline) }), s("text", { class: "letter small", x, y }, anchor ? `${id}⚓` : id)));
  }
  for (const [cx, cy] of seen.inner) svg.append(s("circle", { class: "dot", cx, cy, r: 7 }));
  svg.addEventListener("click", (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    spot(Math.max(0, point.x), Math.max(0, point.y));
  });
  return svg;
}

function details(made) {
  const name = h("input", { type: "text", name: "game", required: true, maxlength: 40, value: made.name ?? `My game of ${today()}` });
  const colours = h("textarea", { name: "colours", required: true, rows: 6, spellcheck: "false", autocapitalize: "none" }, made.colours ?? "");
  const height = h("input", { type: "text", name: "height", inputmode: "decimal", value: made.height ?? "" });
  const row = async (file) => {
    const sent = await put("/api/photos", file);
    if (!sent) return;
    say("Looking at the pieces …");
    const told = await tell("POST", "/api/boards/colours", { ...asked(draft()), row: sent.photo });
    if (told) keep({ colours: told.colours.map((one) => one.name).join("\n"), row: { picture: told.picture, remarks: told.remarks } });
  };
  const seenRow = made.row ? [h("p", { role: "status" }, "The lines below have the pieces from left to right; names are proposed by their looks, change what is wrong."), made.row.remarks.map((words) => h("p", { class: "box" }, words)), h("img", { class: "layout", src: made.row.picture, alt: "The pieces, numbered from left to right" })] : null;
  for (const input of [name, colours, height]) input.addEventListener("input", () => localStorage.setItem(DRAFT, JSON.stringify({ ...draft(), name: name.value, colours: colours.value, height: height.value })));
  const send = async (event) => {
    event.preventDefault();
    const listed = colours.value.split("\n").map((line) => line.trim()).filter(Boolean).map((line) => {
      const found = /^(.*?)[\s=]+(\d+)$/.exec(line);
      return found ? { name: found[1].trim(), supply: Number(found[2]) } : { name: line, supply: null };
    });
    const sheet = await tell("POST", "/api/boards/sheet", { ...asked(draft()), name: name.value, colours: listed, piece_height_mm: Number(height.value.replace(",", ".")) || 0 });
    if (!sheet) return;
    localStorage.removeItem(DRAFT);
    seen = null;
    location.hash = `#/sheets/${sheet.name}`;
  };
  return h("form", { onsubmit: send }, h("h2", {}, "The game"), field("Name of the game", name), h("h3", {}, "Colours of the pieces"), h("p", {}, "Lay one piece of each in a row on a plain table and photograph them from above, or type their names."), h("div", { class: "row" }, filePicker("Photo of the row", "image/*", "row-photo", row)), seenRow, field("Names of the colours", colours, "One a line; then how many the box holds, if you know: moss 32"), field("Height of a piece in mm", height, "Tall pieces hide what lies behind them."), h("div", { class: "row" }, h("button", { class: "first grow", type: "submit" }, "Every cell is right: make the sheet")));
}

export async function sheets() {
  const desk = await call("GET", "/api/desk");
  return [h("h1", {}, "Game sheets"), h("ul", { class: "list" }, desk.sheets.map((one) => h("li", {}, h("a", { class: "line", href: `#/sheets/${one.name}` }, one.game)))), h("div", { class: "row" }, h("a", { class: "button first grow", href: "#/sheets/new" }, "A new one from a photo"))];
}

export async function sheet(_state, name) {
  const [game, { tables }] = await Promise.all([call("GET", `/api/sheets/${name}`), call("GET", `/api/sheets/${name}/tables`)]);
  const give = (one) => h("button", { "data-key": `give-${one.id}`, onclick: async () => { if (await tell("POST", `/api/shelf/${one.id}/sheet`, { sheet: name })) redraw(); } }, `Give it to ${one.name}`);
  const older = tables.filter((one) => !one.current);
  const cards = game.cards.map((card, number) => h("li", { class: "card" }, h("h3", {}, card.name), h("img", { src: `${card.picture}?of=${encodeURIComponent(card.name)}`, alt: `The pattern of ${card.name}`, width: 168, height: 128 }), h("p", { class: "quiet" }, `${card.points}; ${card.moves}`),
    h("button", { class: "plain", onclick: async () => { if (await tell("DELETE", `/api/sheets/${name}/cards/${number}`)) redraw(); } }, `Take out ${card.name}`)));
  const pages = ["a4", "letter"].map((paper) => h("a", { class: "button", href: `/api/sheets/${name}/printables.pdf?paper=${paper}`, download: `${name}-${paper}.pdf` }, paper === "a4" ? "Pages on A4 (PDF)" : "Pages on Letter (PDF)"));
  return [h("h1", {}, game.game), h("p", {}, `${game.cells} cells; ${game.colours.map((colour) => `${colour.letter} ${colour.name}`).join(", ")}.`),
    h("div", { class: "row" }, h("a", { class: "button first", href: `#/sheets/${name}/learn` }, "Learn a table for it"), h("a", { class: "button", href: `#/sheets/${name}/colours` }, "Colours from a photo"), h("a", { class: "button", href: `#/sheets/${name}/card` }, "Cards from a photo"), pages, h("a", { class: "button", href: `/api/sheets/${name}/layout.txt`, download: `${name}-layout.txt` }, "Plan of the printed layout")),
    older.length ? h("div", { class: "box" }, h("p", {}, "Tables that were learned before have an earlier sheet, without what was changed since."), h("div", { class: "row" }, older.map(give))) : null,
    h("h2", {}, "Cards"), cards.length ? h("ul", { class: "cards" }, cards) : h("p", { class: "quiet" }, "There are no cards yet."), cardForm(name),
    h("details", {}, h("summary", {}, "The sheet as text"), h("pre", { class: "scroll", tabindex: "0" }, game.text), h("a", { class: "button", href: `data:text/plain;charset=utf-8,${encodeURIComponent(game.text)}`, download: `${name}.toml` }, "Save as a file"))];
}

const MOVES = [["turns", "May be turned", true], ["mirrors", "May be mirrored", true], ["each", "Counts each time", false], ["common", "Open to all players", false]];

// What is asked of a card; `kept` holds what was typed when the page is drawn anew, `key` tells its inputs apart.
export function cardFields(sheet, { kept = {}, key = "" } = {}) {
  const keep = (name, value) => { kept[name] = value; };
  const text = (name, more) => h("input", { type: "text", name, "data-key": `${name}${key}`, required: true, value: kept[name] ?? "", oninput: (event) => keep(name, event.target.value), ...more });
  const name = text("card", { maxlength: 40 });
  const points = text("points", { inputmode: "numeric" });
  const pattern = h("textarea", { name: "pattern", "data-key": `pattern${key}`, required: true, rows: 5, spellcheck: "false", autocapitalize: "none", oninput: () => keep("pattern", pattern.value) }, kept.pattern ?? "");
  const ticks = MOVES.map(([tick, label, usual]) => [tick, h("input", { type: "checkbox", name: tick, "data-key": `${tick}${key}`, checked: kept[tick] ?? usual, onchange: (event) => keep(tick, event.target.checked) }), label]);
  const drawn = h("div", { role: "status" });
  const form = () => ({ name: name.value, points: Math.round(Number(points.value)) || 0, pattern: pattern.value, ...Object.fromEntries(ticks.map(([tick, input]) => [tick, input.checked])), by: me() });
  const look = async () => {
    const answer = await fetch(`/api/sheets/${sheet}/drawing`, { method: "POST", headers: { "X-Tallyglass": "1", "Content-Type": "application/json" }, body: JSON.stringify({ ...form(), name: name.value || "?" }) }).catch(() => null);
    if (!answer) { say("The desk cannot be reached. Try again."); return; }
    if (!answer.ok) { drawn.replaceChildren(h("p", { class: "box" }, (await answer.json()).problem)); return; }
    drawn.replaceChildren(h("img", { src: URL.createObjectURL(await answer.blob()), alt: `The pattern as typed: ${pattern.value}`, width: 168, height: 128 }));
  };
  const letters = field("Its pattern in letters", pattern, "Pieces of a row two characters apart; where rows stand half a cell on, the next row one character to the right. * any piece, _ none, equal digits one colour.");
  return { form, look, drawn, letters, head: [field("Name of the card", name), field("Points", points)], moves: ticks.map(([, input, label]) => h("label", { class: "row" }, input, label)) };
}

// A card typed in letters.
function cardForm(sheet) {
  const { form, look, drawn, letters, head, moves } = cardFields(sheet);
  const send = async (event) => { event.preventDefault(); if (await tell("POST", `/api/sheets/${sheet}/cards`, form())) redraw(); };
  return h("form", { onsubmit: send }, h("h3", {}, "A card, typed"), head, letters, moves, drawn,
    h("div", { class: "row" }, h("button", { type: "button", "data-key": "look", onclick: look }, "Look at it"), h("button", { class: "first", type: "submit" }, "Add the card")));
}

export async function shelf() {
  const { tables, damaged } = await call("GET", "/api/shelf");
  const rename = (one) => {
    const name = h("input", { type: "text", maxlength: 40, required: true, value: one.name });
    const box = dialog(`Rename ${one.name}`, h("form", { onsubmit: async (event) => { event.preventDefault(); if (await tell("POST", `/api/shelf/${one.id}/name`, { name: name.value })) { box.close(); redraw(); } } }, field("Its new name", name), h("button", { class: "first", type: "submit" }, "Rename")));
  };
  const older = (one) => one.versions.slice(0, -1).reverse().map((version) => h("li", {}, h("div", { class: "row" }, h("span", { class: "grow" }, `Version ${version.number}, ${when(version.put_at)}`), h("button", { onclick: async () => { if (await tell("POST", `/api/shelf/${one.id}/back`, { number: version.number })) redraw(); } }, `Use version ${version.number} again`))));
  const card = (one) => h("li", { class: "card" }, h("h2", {}, one.name), h("p", {}, `${one.game}; version ${one.number}, ${when(one.put_at)}`), h("p", { class: "quiet" }, `Fingerprint of its file: ${one.sha256.slice(0, 12)}`),
    h("div", { class: "row" }, h("a", { class: "button", href: `#/tables/${one.id}/trial` }, "Try it"), h("a", { class: "button", href: `#/tables/${one.id}/count` }, "Count the pieces"), h("button", { "data-key": `rename-${one.id}`, onclick: () => rename(one) }, "Rename"), h("a", { class: "button", href: `/api/shelf/${one.id}/file`, download: `${one.id}.table` }, "Save as a file")),
    one.versions.length > 1 ? h("details", {}, h("summary", {}, `${one.versions.length - 1} older`), h("ul", { class: "list" }, older(one))) : null);
  const take = async (file) => {
    const told = await put("/api/shelf", file);
    if (!told) return;
    redraw();
    dialog(`${told.name} is on the shelf`, h("p", {}, `A table for ${told.game}. Before you trust it:`), h("ul", {}, told.limits.map((words) => h("li", {}, words))));
  };
  return [h("h1", {}, "Tables"), damaged.map((name) => h("p", { class: "box" }, `${name} is damaged and is not listed.`)), tables.length ? h("ul", { class: "cards" }, tables.map(card)) : h("p", {}, "There is no table yet."),
    h("div", { class: "row" }, h("a", { class: "button grow", href: "#/calibrate" }, "Learn a table"), filePicker("Take in a table’s file", ".table,application/zip", "take-table", take))];
}

// What lies on the board for the trial of a table: the known layout with some pieces exchanged, or all laid anew.
let shot = null;
let anew = false;

export async function trial(_state, table) {
  if (document.getElementById("screen").querySelector(".pick")) return null;
  const told = await call("GET", `/api/shelf/${table}/trial`);
  const exchange = anew ? null : told.exchange;
  const lay = exchange ?? told;
  const plan = h("textarea", { name: "plan", spellcheck: "false", rows: 8 }, shot?.table === table && shot.plan ? shot.plan : lay.plan);
  const out = h("div", { role: "status" });
  const run = async (more = {}) => {
    out.replaceChildren(h("p", {}, "Reading the board …"), h("progress", { "aria-label": "Reading the board" }));
    const told = await tell("POST", `/api/shelf/${table}/trial`, { photo: shot.photo, plan: plan.value, ...more });
    out.replaceChildren();
    if (told) out.append(h("p", { class: told.trusted ? "" : "box" }, told.trusted ? "Nothing was read wrongly without asking." : "Do not trust this table yet."), h("ul", {}, told.words.map((words) => h("li", {}, words))), told.trusted ? h("a", { class: "button first", href: "#/new" }, "Play with this table") : "");
  };
  const take = async (file) => { const told = await put(`/api/shelf/${table}/trial/photo`, file); if (told) { shot = { table, photo: told.photo, plan: plan.value }; await run(); } };
  const other = (value) => () => { anew = value; shot = null; redraw(); };
  const words = exchange ? [h("p", {}, `If the known layout still lies on the board, ${exchange.pieces} pieces change places. The picture shows how it then lies.`), h("ol", { class: "moves" }, exchange.moves.map((move) => h("li", {}, move)))]
    : h("p", {}, "Lay the pieces as in the picture, or as you like and write it down. One photo then tells how the table does, and what to change.");
  return [h("h1", {}, "Try a table"), words,
    h("img", { class: "layout", src: `data:image/svg+xml;charset=utf-8,${encodeURIComponent(lay.svg)}`, alt: `Which piece goes where. In letters: ${lay.plan}` }),
    told.exchange ? h("button", { "data-key": "anew", onclick: other(!anew) }, anew ? "The known layout still lies there" : "It does not lie there any more") : null,
    h("details", {}, h("summary", {}, "I laid the pieces otherwise"), field("Which piece lies where", plan, "A line a row, a letter a cell, a full stop for an empty cell.")),
    h("div", { class: "row" }, filePicker("Photo of the board", "image/*", "trial-photo", take)), out, h("a", { class: "button", href: "#/tables" }, "All tables")];
}

// A card from a photo: its cells are read, a person settles and confirms them, then it is added as typed.
import { call, tell } from "./api.js";
import { boardSvg, cornerPicker, crop } from "./board.js";
import { dialog, field, h, sign } from "./dom.js";
import { cardForm, filePicker, put } from "./making.js";
import { waits } from "./spreads.js";

const redraw = () => dispatchEvent(new Event("draw"));
const SIGNS = [["*", "any piece"], ["_", "no piece"], [".", "no cell here"], ...[1, 2, 3].map((n) => [String(n), `one colour, whichever (${n})`])];
const WAYS = [["up", "Up"], ["right", "Right"], ["down", "Down"], ["left", "Left"]];

// One card at a time; inks that were named stay known for the next card of the same printing.
let card = null;
const fresh = (sheet, table, inks) => ({ sheet, table, inks, photo: null, told: null, needs: {}, said: {}, top: "up", busy: false, added: "" });

export async function fromPhoto(_state, sheet) {
  if (document.getElementById("screen").querySelector(".pick")) return null;
  const [game, { tables }] = await Promise.all([call("GET", `/api/sheets/${sheet}`), call("GET", `/api/sheets/${sheet}/tables`)]);
  if (card?.sheet !== sheet) card = fresh(sheet, tables[0]?.id ?? "", []);
  const here = card;
  const ask = async (corners_px) => {
    here.busy = true;
    document.getElementById("screen").replaceChildren();
    redraw();
    const told = await tell("POST", `/api/sheets/${sheet}/cards/photo`, { photo: here.photo, table: here.table || null, named: here.inks, corners_px });
    Object.assign(here, { busy: false, told: told ?? null, needs: Object.fromEntries((told?.cells ?? []).map((cell) => [cell.id, cell.need])), said: {}, top: "up" });
    redraw();
  };
  const take = async (file) => { const sent = await put("/api/photos", file); if (sent) { here.photo = sent.photo; here.added = ""; await ask(null); } };
  const head = [h("h1", {}, "A card from a photo"), here.added ? h("p", { role: "status" }, `${here.added} is in the sheet. The next card:`) : null];
  const back = h("a", { class: "button", href: `#/sheets/${sheet}` }, "The sheet and its cards");
  if (here.busy) return [head, h("div", { role: "status" }, waits("Reading the card …"))];
  if (here.told?.corners) return [head, h("p", { class: "box" }, here.told.why), cornerPicker(here.told.picture, here.told.corners, null, ask, "card"), back];
  const table = h("select", { "data-key": "card-table", onchange: () => { here.table = table.value; if (here.photo) ask(null); } }, [...tables.map((one) => [one.id, one.name]), ["", "no table: every ink is asked once"]].map(([value, words]) => h("option", { value, selected: value === here.table }, words)));
  return [head, here.told ? await settle(here, game, sheet) : h("p", {}, "Lay the card flat on a plain dark table and photograph it from above, so that it fills about half the picture."),
    field("Colours are known from the table", table), h("div", { class: "row" }, filePicker(here.told ? "Another photo" : "Photo of the card", "image/*", "card-photo", take)), back];
}

async function settle(here, game, sheet) {
  const { told } = here;
  const place = { picture: told.picture, width: told.width, height: told.height, outlines: Object.fromEntries(told.cells.map((cell) => [cell.id, cell.outline])) };
  const open = told.cells.filter((cell) => !here.needs[cell.id]).map((cell) => cell.id);
  const cells = Object.fromEntries(told.cells.map(({ id }) => [id, { letter: here.needs[id] ?? "", colour: meaning(here.needs[id], game), state: here.said[id] ? "answered" : here.needs[id] ? "sure" : "open" }]));
  const say = (ids, need) => { for (const id of ids) { here.needs[id] = need; here.said[id] = true; } redraw(); };
  const tap = (id) => choose(`Cell ${id}`, crop(place, id, `Cell ${id} of the card`), game, (need) => say([id], need));
  const questions = told.inks.map((ink) => [ink, ink.cells.filter((id) => open.includes(id))]).filter(([, ids]) => ids.length);
  return [boardSvg(place, cells, { label: "The card from above; choose a cell to change it", tap, whole: true }),
    h("p", { role: "status" }, open.length ? `${told.cells.length} cells are seen; ${open.length} are asked.` : `${told.cells.length} cells are seen and settled. Tap one that is wrong.`),
    questions.map(([ink, ids]) => question(ink, ids, place, game, (need) => say(ids, need))), open.length ? null : await confirm(here, game, sheet)];
}

const meaning = (need, game) => game.colours.find((colour) => colour.letter === need)?.name ?? SIGNS.find(([letter]) => letter === need)?.[1] ?? "unsure";

function question(ink, ids, place, game, say) {
  const likely = ink.candidates.slice(0, 3).map((name) => game.colours.find((colour) => colour.name === name)).filter(Boolean);
  const title = `What is printed at ${ids.join(", ")}?`;
  return h("section", { class: "ask" }, crop(place, ids[0], `Cell ${ids[0]} of the card`), h("div", {}, h("h2", {}, title), h("p", {}, `${ink.doubt[0].toUpperCase()}${ink.doubt.slice(1)}.`), likely.map((colour) => choice(colour, () => say(colour.letter), `ink-${ids[0]}-${colour.letter}`)),
    h("button", { "data-key": `more-${ids[0]}`, onclick: () => choose(title, null, game, say) }, likely.length ? "Something else" : "Choose")));
}

const choice = (colour, then, key) => h("button", { class: "choice", "data-key": key, onclick: then }, sign(colour), colour.name, h("b", {}, colour.letter));

function choose(title, picture, game, say) {
  const then = (need) => () => { box.close(); say(need); };
  const box = dialog(title, picture, game.colours.map((colour) => choice(colour, then(colour.letter), `need-${colour.letter}`)),
    SIGNS.map(([need, words]) => h("button", { class: "choice", "data-key": `need-${need}`, onclick: then(need) }, words, h("b", {}, need))));
}

async function confirm(here, game, sheet) {
  const top = h("div", { class: "row", role: "group", "aria-label": "Which side of the picture is the card’s top?" }, WAYS.map(([way, words]) => h("button", { "data-key": `top-${way}`, "aria-pressed": String(here.top === way), class: here.top === way ? "first" : "", onclick: () => { here.top = way; redraw(); } }, words)));
  const drawn = await tell("POST", `/api/sheets/${sheet}/cards/pattern`, { top: here.top, cells: here.told.cells.map((cell) => ({ step: cell.step, need: here.needs[cell.id] })) });
  const added = (name) => {
    const letters = here.told.inks.map((ink) => [ink, here.needs[ink.cells[0]]]);
    const colours = Object.fromEntries(game.colours.map((colour) => [colour.letter, colour.name]));
    const inks = [...here.inks, ...letters.filter(([, need]) => colours[need]).map(([ink, need]) => ({ colour: colours[need], lab: ink.lab }))].slice(-400);
    card = { ...fresh(sheet, here.table, inks), added: name };
    redraw();
  };
  return [h("h2", {}, "Which side of the picture is the card’s top?"), top, drawn ? cardForm(sheet, { pattern: drawn.pattern, title: "Is this the card?", added }) : null];
}

// Cards from a photo: their cells are read, a person settles and confirms them, then they are added as typed.
import { call, tell } from "./api.js";
import { boardSvg, cornerPicker, crop } from "./board.js";
import { dialog, field, h, sign } from "./dom.js";
import { cardFields, filePicker, put } from "./making.js";
import { waits } from "./spreads.js";

const redraw = () => dispatchEvent(new Event("draw"));
const SIGNS = [["*", "any piece"], ["_", "no piece"], [".", "no cell here"], ...[1, 2, 3].map((n) => [String(n), `one colour, whichever (${n})`])];
const WAYS = [["up", "Up"], ["right", "Right"], ["down", "Down"], ["left", "Left"]];

// One photo at a time; inks that were named stay known for the next one of the same printing.
let run = null;
const fresh = (sheet, table, inks) => ({ sheet, table, inks, photo: null, told: null, cards: [], needs: {}, said: {}, busy: false, added: [] });

export async function fromPhoto(_state, sheet) {
  if (document.getElementById("screen").querySelector(".pick")) return null;
  const [game, { tables }] = await Promise.all([call("GET", `/api/sheets/${sheet}`), call("GET", `/api/sheets/${sheet}/tables`)]);
  if (run?.sheet !== sheet) run = fresh(sheet, tables[0]?.id ?? "", []);
  const here = run;
  const ask = async (corners_px) => {
    here.busy = true;
    document.getElementById("screen").replaceChildren();
    redraw();
    const told = await tell("POST", `/api/sheets/${sheet}/cards/photo`, { photo: here.photo, table: here.table || null, named: here.inks, corners_px });
    const cells = (told?.cards ?? []).flatMap((card) => card.cells);
    Object.assign(here, { busy: false, told: told ?? null, needs: Object.fromEntries(cells.map((cell) => [cell.id, cell.need])), said: {}, cards: named(told?.cards ?? [], game) });
    redraw();
  };
  const take = async (file) => { const sent = await put("/api/photos", file); if (sent) { here.photo = sent.photo; here.added = []; await ask(null); } };
  const head = [h("h1", {}, "Cards from a photo"), here.added.length ? h("p", { role: "status" }, `${here.added.join(", ")} ${here.added.length > 1 ? "are" : "is"} in the sheet.`) : null];
  const back = h("a", { class: "button", href: `#/sheets/${sheet}` }, "The sheet and its cards");
  if (here.busy) return [head, h("div", { role: "status" }, waits("Reading the cards …"))];
  if (here.told?.corners) return [head, h("p", { class: "box" }, here.told.why), cornerPicker(here.told.picture, here.told.corners, null, ask, "card"), back];
  const table = h("select", { "data-key": "card-table", onchange: () => { here.table = table.value; if (here.photo) ask(null); } }, [...tables.map((one) => [one.id, one.name]), ["", "no table: every ink is asked once"]].map(([value, words]) => h("option", { value, selected: value === here.table }, words)));
  return [head, here.told ? await settle(here, game) : h("p", {}, "Lay one card or several beside each other, none on another, flat on a plain dark table. Photograph them from above, so that they fill the picture."),
    field("Colours are known from the table", table), h("div", { class: "row" }, filePicker(here.told ? "Another photo" : "Photo of the cards", "image/*", "card-photo", take)), back];
}

// A name for each card that no card of the sheet has, to be taken or typed over.
function named(cards, game) {
  const taken = new Set(game.cards.map((card) => card.name));
  let number = 0;
  return cards.map((card) => { do number += 1; while (taken.has(`Card ${number}`)); return { ...card, top: "up", turned: false, out: false, kept: { card: `Card ${number}` } }; });
}

async function settle(here, game) {
  const cards = here.cards.filter((card) => !card.out);
  const cells = cards.flatMap((card) => card.cells);
  const open = cells.filter((cell) => !here.needs[cell.id]).map((cell) => cell.id);
  const say = (ids, need) => { for (const id of ids) { here.needs[id] = need; here.said[id] = true; } redraw(); };
  const questions = here.told.inks.map((ink) => [ink, ink.cells.filter((id) => open.includes(id))]).filter(([, ids]) => ids.length);
  const sections = open.length ? [] : await Promise.all(cards.map((card) => confirm(here, card)));
  const seen = `${cards.length === 1 ? "1 card is" : `${cards.length} cards are`} seen, with ${cells.length} cells`;
  return [h("p", { role: "status" }, open.length ? `${seen}; ${open.length} are asked.` : `${seen}, all settled.`),
    questions.map(([ink, ids]) => question(ink, ids, ids.map((id) => crop(placeOf(cards.find((card) => card.cells.some((cell) => cell.id === id))), id, `Cell ${id}`)), game, (need) => say(ids, need))),
    h("h2", {}, "Is every letter right?"), h("p", { class: "quiet" }, "Compare with the cards; tap a cell to change it."), h("div", { class: "faces" }, cards.map((card) => face(here, card, game, say))),
    open.length || !cards.length ? null : h("form", { onsubmit: (event) => { event.preventDefault(); add(here, game, cards, sections); } }, sections.map((one) => one.shown),
      h("div", { class: "row" }, h("button", { class: "first grow", type: "submit", "data-key": "add" }, cards.length > 1 ? `Every card is right: add all ${cards.length}` : "The card is right: add it")))];
}

const placeOf = (card) => ({ picture: card.picture, width: card.width, height: card.height, outlines: Object.fromEntries(card.cells.map((cell) => [cell.id, cell.outline])) });
const meaning = (need, game) => game.colours.find((colour) => colour.letter === need)?.name ?? SIGNS.find(([letter]) => letter === need)?.[1] ?? "unsure";

// A card as the photo shows it, with the letter of each cell on it.
function face(here, card, game, say) {
  const number = here.cards.indexOf(card) + 1;
  const cells = Object.fromEntries(card.cells.map(({ id }) => [id, { letter: here.needs[id] ?? "", colour: meaning(here.needs[id], game), state: here.said[id] ? "answered" : here.needs[id] ? "sure" : "open" }]));
  const tap = (id) => choose(`Cell ${id}`, crop(placeOf(card), id, `Cell ${id} of the card`), game, (need) => say([id], need));
  const leave = h("button", { class: "plain", "data-key": `out-${number}`, onclick: () => { card.out = true; redraw(); } }, `Leave card ${number} out`);
  return h("figure", {}, h("figcaption", {}, `Card ${number}`), boardSvg(placeOf(card), cells, { label: `Card ${number} from above; choose a cell to change it`, tap, whole: true }), here.cards.length > 1 ? leave : null);
}

// What follows from a settled card: its drawing, and what is asked of it.
async function confirm(here, card) {
  const number = here.cards.indexOf(card) + 1;
  const cells = card.cells.map((cell) => ({ step: cell.step, need: here.needs[cell.id] }));
  const key = JSON.stringify([card.top, cells]);
  if (card.key !== key) {
    const drawn = await tell("POST", `/api/sheets/${here.sheet}/cards/pattern`, { top: card.top, cells });
    Object.assign(card, { key, drawn: Boolean(drawn) });
    if (drawn) card.kept.pattern = drawn.pattern;
  }
  const turn = (way) => { for (const other of here.cards) if (other === card || !other.turned) other.top = way; card.turned = true; redraw(); };
  const question = `Which side of the picture is the top of card ${number}?`;
  const top = [h("p", {}, question), h("div", { class: "row", role: "group", "aria-label": question }, WAYS.map(([way, words]) => h("button", { type: "button", "data-key": `top-${way}-${number}`, "aria-pressed": String(card.top === way), class: card.top === way ? "first" : "", onclick: () => turn(way) }, words)))];
  const section = (...content) => h("section", { class: "card" }, h("h2", {}, `Card ${number}`), content);
  if (!card.drawn) return { shown: section(top) };
  const { form, look, drawn, letters, head, moves } = cardFields(here.sheet, { kept: card.kept, key: `-${number}` });
  look();
  const open = (event) => { card.kept.open = event.target.open; };
  return { form, shown: section(top, drawn, head, moves, h("details", { open: Boolean(card.kept.open), ontoggle: open }, h("summary", {}, "Its pattern in letters"), letters)) };
}

async function add(here, game, cards, sections) {
  for (const [i, card] of cards.entries()) {
    if (!sections[i].form) return;
    const form = sections[i].form();
    if (!(await tell("POST", `/api/sheets/${here.sheet}/cards`, form))) { redraw(); return; }
    card.out = true;
    here.added.push(form.name);
  }
  const colours = Object.fromEntries(game.colours.map((colour) => [colour.letter, colour.name]));
  const known = here.told.inks.map((ink) => [colours[here.needs[ink.cells[0]]], ink.lab]).filter(([colour]) => colour);
  run = { ...fresh(here.sheet, here.table, [...here.inks, ...known.map(([colour, lab]) => ({ colour, lab }))].slice(-400)), added: here.added };
  redraw();
}

// All cells of one ink at once, each in sight: one that is of another is changed on its card.
function question(ink, ids, crops, game, say) {
  if (ink.nowhere) return h("section", { class: "ask" }, h("div", { class: "crops" }, crops), h("div", {}, h("h2", {}, `Is there a cell at ${ids.join(", ")}?`), h("p", {}, "If one of these is a cell, tap it on its card below and say what it asks for."), h("button", { class: "choice", "data-key": `none-${ids[0]}`, onclick: () => say(".") }, ids.length > 1 ? "None of these is a cell" : "This is no cell")));
  const likely = ink.candidates.slice(0, 3).map((name) => game.colours.find((colour) => colour.name === name)).filter(Boolean);
  const title = `What is printed at ${ids.join(", ")}?`;
  return h("section", { class: "ask" }, crops.length > 1 ? h("div", { class: "crops" }, crops) : crops, h("div", {}, h("h2", {}, title), h("p", {}, `${ink.doubt[0].toUpperCase()}${ink.doubt.slice(1)}.`), likely.map((colour) => choice(colour, () => say(colour.letter), `ink-${ids[0]}-${colour.letter}`)),
    h("button", { "data-key": `more-${ids[0]}`, onclick: () => choose(title, null, game, say) }, likely.length ? "Something else" : "Choose")));
}

const choice = (colour, then, key) => h("button", { class: "choice", "data-key": key, onclick: then }, sign(colour), colour.name, h("b", {}, colour.letter));

function choose(title, picture, game, say) {
  const then = (need) => () => { box.close(); say(need); };
  const box = dialog(title, picture, game.colours.map((colour) => choice(colour, then(colour.letter), `need-${colour.letter}`)),
    SIGNS.map(([need, words]) => h("button", { class: "choice", "data-key": `need-${need}`, onclick: then(need) }, words, h("b", {}, need))));
}

// Photos of loose pieces: counted at pack-up, and a box's colours named and taken into a sheet.
import { call, tell } from "./api.js";
import { cornerPicker, zoomable } from "./board.js";
import { field, h } from "./dom.js";
import { filePicker, put } from "./making.js";

const redraw = () => dispatchEvent(new Event("draw"));
export const waits = (words) => [h("p", {}, words), h("progress", { "aria-label": words })];

// Counting: the photos of one box add up, and so does what a person finds at the open places.
let box = null;

export async function count(_state, table) {
  if (box?.table !== table) box = { table, photos: [], hand: {}, told: null, busy: false };
  const here = box;
  const { tables } = await call("GET", "/api/shelf");
  const name = tables.find((one) => one.id === table)?.name ?? table;
  const ask = async (photos) => {
    here.busy = true;
    redraw();
    const by_hand = whole(here.hand);
    const told = await tell("POST", `/api/shelf/${table}/count`, { photos, by_hand });
    Object.assign(here, { busy: false }, told ? { told, photos, by_hand } : {});
    redraw();
  };
  const take = async (file) => { const sent = await put("/api/photos", file); if (sent) await ask([...here.photos, sent.photo]); };
  return [h("h1", {}, "Count the pieces"), h("p", {}, `Spread the pieces of ${name} out flat on a plain table, none on another, and photograph them from above. Several photos add up; no piece may be in two.`),
    h("div", { class: "row" }, filePicker(here.photos.length ? "One more photo" : "Photo of the pieces", "image/*", "count-photo", take), here.photos.length ? h("button", { "data-key": "count-anew", onclick: () => { box = null; redraw(); } }, "Begin anew") : null),
    h("div", { role: "status" }, here.busy ? waits("Counting the pieces …") : null), here.told ? counted(here, table, ask) : null, h("a", { class: "button", href: "#/tables" }, "All tables")];
}

const whole = (hand) => Object.fromEntries(Object.entries(hand).filter(([, words]) => /^\d+$/.test(words.trim())).map(([name, words]) => [name, Number(words)]));

function counted(here, table, ask) {
  const { told, photos, by_hand } = here;
  const sum = told.photos.reduce((all, one) => all + one.seen, 0);
  const row = (one) => h("tr", {}, h("th", { scope: "row" }, `${one.letter} ${one.name}`), h("td", {}, `${one.counted}`), h("td", {}, one.supply ?? "not said"), h("td", {}, one.said));
  return [h("p", {}, `${sum} pieces seen${photos.length > 1 ? `, in ${photos.length} photos together.` : "."}`),
    h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "The count" }, h("table", {}, h("caption", {}, told.final ? "Every place is counted" : "Not final"), h("thead", {}, h("tr", {}, ["Colour", "Counted", "In the box", ""].map((word) => (word ? h("th", { scope: "col" }, word) : h("td"))))), h("tbody", {}, told.colours.map(row)))),
    told.notes.map((words) => h("p", { class: "box" }, words)), told.final ? supply(told, table, { photos, by_hand }) : null, told.photos.map(picture), byHand(here, ask)];
}

function picture(one, number, all) {
  return h("section", {}, h("h2", {}, all.length > 1 ? `Photo ${number + 1}` : "The photo"), zoomable(h("img", { src: one.picture, alt: "The pieces: counted ones with their letters, open places in numbered boxes" }), `count-${number}`), one.open.length ? h("ol", {}, one.open.map((why) => h("li", {}, why))) : h("p", {}, "No place is open."));
}

function byHand(here, ask) {
  const { told, photos, hand } = here;
  const inputs = told.colours.map((one) => field(`${one.letter} ${one.name}`, h("input", { type: "text", inputmode: "numeric", maxlength: 4, name: `hand-${one.name}`, "data-key": `hand-${one.name}`, value: hand[one.name] ?? "", oninput: (event) => { hand[one.name] = event.target.value; } })));
  const send = (event) => { event.preventDefault(); ask(photos); };
  const form = h("form", { onsubmit: send }, h("p", {}, "Look at every numbered place of the pictures, and write how many pieces of each colour lie there. 0 is an answer too."), h("div", { class: "many" }, inputs), h("div", { class: "row" }, h("button", { class: "first grow", type: "submit", "data-key": "hand" }, "These lie there besides")));
  return told.photos.some((one) => one.open.length) || !told.final ? h("section", {}, h("h2", {}, "Counted by hand"), form) : null;
}

function supply(told, table, form) {
  const known = told.colours.every((one) => one.counted === one.supply);
  const take = async () => {
    const kept = await tell("POST", `/api/shelf/${table}/supply`, form);
    if (!kept) return;
    box = null;
    location.hash = "#/tables";
  };
  return known ? null : [h("p", {}, "Is this a whole box? Then its count becomes the supply: what is missing at the next pack-up is told by it."), h("div", { class: "row" }, h("button", { "data-key": "supply", onclick: take }, "This is the box’s supply"))];
}

// Colours: of a row, or of a board laid by a plan in signs of one's own.
let named = null;

export async function colours(_state, sheet) {
  if (document.getElementById("screen").querySelector(".pick")) return null;
  if (named?.sheet !== sheet) named = { sheet, told: null, plan: null, photo: null, busy: false };
  const here = named;
  here.plan ??= (await call("GET", `/api/sheets/${sheet}`)).blank_plan;
  const ask = async (more) => {
    here.busy = true;
    document.getElementById("screen").replaceChildren();
    redraw();
    const told = await tell("POST", `/api/sheets/${sheet}/colours`, { photo: here.photo, ...more });
    Object.assign(here, { busy: false, told: told ?? null, asked: more });
    redraw();
  };
  const take = (more) => async (file) => { const sent = await put("/api/photos", file); if (sent) { here.photo = sent.photo; await ask(more()); } };
  const back = h("a", { class: "button", href: `#/sheets/${sheet}` }, "The sheet");
  const head = h("h1", {}, "Colours from a photo");
  if (here.busy) return [head, h("div", { role: "status" }, waits("Looking at the pieces …"))];
  if (here.told?.corners) return [head, h("p", { class: "box" }, here.told.why), cornerPicker(here.told.picture, here.told.corners, null, (corners_px) => ask({ ...here.asked, corners_px })), back];
  const plan = h("textarea", { name: "signs", spellcheck: "false", autocapitalize: "none", rows: 8, oninput: () => { here.plan = plan.value; } }, here.plan);
  return [head, here.told ? accept(here, sheet) : h("p", {}, "Lay one piece of each colour in a row on a plain table of another colour, and photograph them from above."),
    h("div", { class: "row" }, filePicker(here.told ? "Another photo of a row" : "Photo of the row", "image/*", "colours-photo", take(() => ({})))),
    h("details", { open: Boolean(here.asked?.plan) }, h("summary", {}, "Or from pieces laid on the board"), field("Which piece lies where", plan, "A line a row, a full stop for an empty cell; one letter or digit of your own for each kind of piece. Two or more of each are better."), h("div", { class: "row" }, filePicker("Photo of the laid board", "image/*", "laid-photo", take(() => ({ plan: plan.value }))))), back];
}

function accept({ told, asked }, sheet) {
  const rows = told.colours.map((one) => {
    const letter = h("input", { type: "text", maxlength: 1, name: `letter-${one.sign}`, "aria-label": `Letter of ${one.sign}`, placeholder: one.letter, value: one.letter === one.sign ? one.letter : "" });
    const name = h("input", { type: "text", maxlength: 31, required: true, autocapitalize: "none", name: `name-${one.sign}`, "aria-label": `Name of ${one.sign}`, value: one.name, oninput: () => { letter.placeholder = ""; } });
    const pieces = h("input", { type: "text", inputmode: "numeric", maxlength: 5, name: `pieces-${one.sign}`, "aria-label": `Pieces of ${one.sign} in the box` });
    return { one, name, letter, pieces };
  });
  const send = async (event) => {
    event.preventDefault();
    const colours = rows.map(({ name, letter, pieces }) => ({ name: name.value, letter: letter.value || null, supply: Number(pieces.value) || null }));
    if (!(await tell("PUT", `/api/sheets/${sheet}/colours`, { colours }))) return;
    named = null;
    location.hash = `#/sheets/${sheet}`;
  };
  return [h("p", { role: "status" }, `${told.colours.length} ${asked?.plan ? "kinds of pieces" : "pieces"} are seen. Names are proposed by their looks: change what is wrong.`), told.remarks.map((words) => h("p", { class: "box" }, words)),
    h("img", { class: "layout", src: told.picture, alt: asked?.plan ? "The board, each piece with its sign" : "The pieces, numbered from left to right" }),
    h("form", { onsubmit: send }, h("table", { class: "inputs" }, h("thead", {}, h("tr", {}, [asked?.plan ? "Sign" : "No.", "Name", "Letter", "Pieces"].map((word) => h("th", { scope: "col" }, word)))), h("tbody", {}, rows.map(({ one, name, letter, pieces }) => h("tr", {}, h("th", { scope: "row" }, one.sign), [name, letter, pieces].map((input) => h("td", {}, input)))))),
      h("p", { class: "quiet" }, "A letter that is left empty is chosen without clash. Pieces: how many the box holds, if you know."), h("div", { class: "row" }, h("button", { class: "first grow", type: "submit", "data-key": "accept" }, "Put these colours into the sheet")))];
}

// Learning a table on the phone: empty board, known layout, judged at once.
import { call, sendPhoto, tell, uploads } from "./api.js";
import { cornerPicker } from "./board.js";
import { field, h, when } from "./dom.js";

const soon = () => dispatchEvent(new Event("look"));

// The photo of the empty board that a sheet was made from serves again as long as the light is the same.
const SAME_LIGHT_MS = 3600e3;

export async function begin(_state, wanted) {
  const desk = await call("GET", "/api/desk");
  const sheet = h("select", { "data-key": "game" }, desk.sheets.map((one) => h("option", { value: one.name, selected: one.name === wanted }, one.game)));
  const name = h("input", { type: "text", maxlength: 40, required: true, name: "table", oninput: () => { name.dataset.own = "1"; } });
  const again = h("input", { type: "checkbox", name: "again" });
  const words = h("span", {});
  const offer = h("label", { class: "row" }, again, words);
  const chosen = () => {
    const one = desk.sheets.find((other) => other.name === sheet.value);
    if (!name.dataset.own) name.value = (one?.game ?? "my table").slice(0, 40);
    offer.hidden = !one?.empty_at;
    again.checked = Boolean(one?.empty_at) && Date.now() - Date.parse(one.empty_at) < SAME_LIGHT_MS;
    words.textContent = one?.empty_at ? `The light is the same as when the sheet was made from its photo (${when(one.empty_at)}): use that photo and its corners again` : "";
  };
  sheet.addEventListener("change", chosen);
  chosen();
  const own = h("input", { type: "file", accept: ".toml,text/plain", onchange: async () => {
    const added = await tell("POST", "/api/sheets", { text: await own.files[0].text() }, true);
    if (added) { desk.sheets.push(added); sheet.append(h("option", { value: added.name }, added.game)); sheet.value = added.name; chosen(); }
  } });
  const send = async (event) => {
    event.preventDefault();
    const made = await tell("POST", "/api/calibrations", { name: name.value, sheet: sheet.value, empty_of_sheet: again.checked });
    if (made) location.hash = `#/calibrate/${made.id}`;
  };
  return [h("h1", {}, "Learn a table"), h("p", {}, "A table is one set of pieces in one light. Two or three photos teach it: the empty board, then pieces whose places are known."), wanted ? null : begun(desk),
    h("form", { onsubmit: send }, field("Game", sheet), offer, field("Name of the table", name), field("Or a game of your own", own, "A game sheet is a text file (.toml); it is checked before it is taken."), h("div", { class: "row" }, h("button", { class: "first grow", type: "submit" }, "Go on")))];
}

// One entry a table, the latest begun first; earlier ones of the same name stay within reach.
function begun({ calibrations, sheets }) {
  const game = (one) => sheets.find((sheet) => sheet.name === one.sheet)?.game ?? one.sheet;
  const line = (one) => h("li", {}, h("a", { class: "line", href: `#/calibrate/${one.id}` }, h("b", {}, one.name), h("br"), h("span", { class: "quiet" }, `${game(one)} · ${one.photos === 1 ? "1 photo" : `${one.photos} photos`} · ${one.learned ? "learned" : "not learned yet"} · ${when(one.at)}`)));
  return calibrations.length ? h("details", { open: !calibrations[0][0].learned }, h("summary", {}, "Go on with one that was begun"), h("ul", { class: "list" }, calibrations.map(([latest, ...older]) => [line(latest), older.length ? h("li", {}, h("details", {}, h("summary", {}, `${older.length} earlier of ${latest.name}`), h("ul", { class: "list" }, older.map(line)))) : null]))) : null;
}

export function photoInputs(path, what, key, take = "Take photo") {
  const send = (event) => { for (const file of event.target.files) sendPhoto(path, file); event.target.value = ""; soon(); };
  const input = (label, camera) => h("label", { class: `file grow${camera ? " first" : ""}` }, label, h("span", { hidden: true }, ` ${what}`),
    h("input", { type: "file", accept: "image/jpeg,image/png", capture: camera ? "environment" : false, onchange: send, "aria-label": `${label}: ${what}`, "data-key": `${key}-${camera ? "camera" : "gallery"}` }));
  return h("div", { class: "row noprint" }, input(take, true), input("Gallery", false));
}

export function progressOf(path) {
  return [...uploads.values()].filter((upload) => upload.path === path).map((upload) => h("p", {}, `Sending ${upload.name} … ${Math.round(upload.share * 100)} %`, h("progress", { max: 1, value: upload.share, "aria-label": `Sending ${upload.name}` })));
}

export function calibration(state, id) {
  const path = `/api/calibrations/${id}`;
  const photos = (kind, title, words, extra) => {
    const list = state[kind].map((name, number) => h("li", {}, h("div", { class: "row" }, h("span", { class: "grow" }, name), h("button", { class: "plain", onclick: async () => { await tell("POST", `${path}/drop`, { kind, number }); soon(); } }, `Leave out ${name}`))));
    return h("section", {}, h("h2", {}, title), h("p", {}, words), extra, list.length ? h("ul", { class: "list" }, list) : null, progressOf(`${path}/${kind}/photo`), photoInputs(`${path}/${kind}/photo`, title, `cal-${kind}`));
  };
  const area = h("textarea", { "data-key": "plan", spellcheck: "false", rows: 8 }, state.plan);
  const plan = h("details", {}, h("summary", {}, "I laid the pieces otherwise"), field("Which piece lies where", area, "A line a row, a letter a cell, a full stop for an empty cell."), h("button", { onclick: async () => { await tell("PUT", `${path}/plan`, { plan: area.value }); soon(); } }, "This is how they lie"));
  return [h("h1", {}, `Learn the table ${state.name}`), h("p", { class: "quiet" }, "Ask before you photograph people or their things; location and other personal data are taken out of every photo that is kept."),
    photos("empty", "1. The empty board", "Straight from above, the whole board in the picture, in the light of the evening. A second photo from another side helps."),
    state.place ? h("p", { class: state.place.needs_corners ? "box" : "" }, state.place.advice) : null,
    state.place?.picture ? h("a", { class: "button", href: `#/calibrate/${id}/corners` }, state.corners_px.length ? "Corners are shown; move them" : "Show the board’s corners") : null,
    photos("layout", "2. The known layout", "Lay pieces as in the picture, then photograph the board once or twice.", [h("img", { class: "layout", src: `${path}/layout.svg?v=${state.version}`, alt: `Which piece goes where. In letters: ${state.plan}` }), plan]),
    h("h2", {}, "3. How it went"),
    state.busy ? h("p", { role: "status" }, "Looking at the photos …", h("progress", { "aria-label": "Looking at the photos" })) : null,
    state.advice.length ? h("div", { role: "status" }, h("ul", {}, state.advice.map((words) => h("li", { class: state.table ? "" : "mind" }, words)))) : state.busy ? null : h("p", { class: "quiet" }, "As soon as a photo of the layout is here, the table is learned and judged."),
    state.table ? h("div", { class: "row" }, h("a", { class: "button first", href: "#/new" }, "Play with this table"), h("a", { class: "button", href: `#/tables/${state.table}/trial` }, "Try it first")) : null];
}

export function corners(state, id) {
  if (!state.place?.picture || !state.picture) return [h("h1", {}, "The board’s corners"), h("p", {}, "There is no photo yet."), h("a", { class: "button", href: `#/calibrate/${id}` }, "Back")];
  if (document.getElementById("screen").querySelector(".pick")) return null; // a corner is being moved: leave it
  const done = async (corners_px) => { if (await tell("POST", `/api/calibrations/${id}/corners`, { corners_px })) location.hash = `#/calibrate/${id}`; };
  return [h("h1", {}, "The board’s corners"), cornerPicker(state.picture, state.place.picture, null, done), h("a", { class: "button", href: `#/calibrate/${id}` }, "Back")];
}

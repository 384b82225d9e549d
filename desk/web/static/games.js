// One game of an evening: snap, correct, answer, claim, tally, teach.
import { call, me, readingOf, tell } from "./api.js";
import { boardSvg, cornerPicker, crop, zoomable } from "./board.js";
import { photoInputs, progressOf } from "./calibrating.js";
import { dialog, h, say, sign } from "./dom.js";
import { proof, tallyTable } from "./looking.js";

const soon = () => dispatchEvent(new Event("look"));
const redraw = () => dispatchEvent(new Event("draw"));
const tables = new Map();
const chosen = { player: 0, teach: 0 };

async function tableOf(name) {
  if (!tables.has(name)) tables.set(name, await call("GET", `/api/tables/${name}`));
  return tables.get(name);
}

// The picture and outlines of a board; null while it is on its way or where none was found.
async function placeOf(board) {
  if (board?.state !== "read") return null;
  const read = await readingOf(board.reading);
  const part = read.parts[board.part];
  return { picture: board.picture, width: read.picture.width, height: read.picture.height, outlines: part.outlines, cells: part.reading.cells, strip: part.reading.key_strip };
}

// Whether a board's second photo is part of what is shown; what is read last is weighed a moment later.
const weighed = (game, seat) => game.view?.boards[seat]?.looks.includes(`${game.boards[seat].second.reading}-${game.boards[seat].second.part}`);

// A board's photos as they lie on the screen: the first, and a second that is read together with it.
async function placesOf(game, seat) {
  const board = game.boards[seat];
  const used = board?.second && weighed(game, seat) && !game.view.boards[seat].second_refused;
  return (await Promise.all([placeOf(board), used ? placeOf(board.second) : null])).filter(Boolean);
}

function cellsOf(game, seat, place, table) {
  const told = game.view?.boards[seat]?.cells;
  if (told) return told;
  const letters = Object.fromEntries(table.colours.map((c) => [c.name, c.letter]));
  return Object.fromEntries(Object.entries(place.cells).map(([id, cell]) => [id, { colour: cell.colour, letter: letters[cell.colour] ?? (cell.colour === "odd" ? "×" : "–"), state: cell.doubt ? "open" : "sure", doubt: cell.doubt }]));
}

export async function screen(state, id, number, name, seat) {
  const game = state.games[number - 1];
  if (!game) return [h("h1", {}, "There is no such game"), h("a", { class: "button", href: "#/" }, "To the first page")];
  if (name === "corners" && document.getElementById("screen").querySelector(".pick") && document.getElementById("screen").dataset.path.includes("corners")) return null;
  const table = await tableOf(state.table);
  const at = { state, game, table, seat: Number(seat), api: `/api/evenings/${id}/games/${number}`, base: `#/e/${id}/${number}` };
  const body = await { boards, board, corners, ask, claims, tally, teach }[name](at);
  return [h("p", { class: "quiet" }, `${state.name} · `, h("span", { class: "wide" }, `${table.game} · `), `game ${number}`), tabs(at, name), body];
}

function tabs({ state, game, base }, name) {
  const open = game.view?.questions.filter((q) => !q.left_open).length ?? 0;
  const tab = (to, words, count) => h("a", { href: `${base}/${to}`, "aria-current": (name === to || (to === "boards" && (name === "board" || name === "corners"))) ? "page" : false, "data-key": `tab-${to}` }, words, count ? h("span", { class: "count" }, String(count)) : null);
  return h("nav", { class: "tabs", "aria-label": "This game" }, tab("boards", "Boards"), tab("ask", "Questions", open), tab("claims", "Claims"), tab("tally", "Tally"), tab("teach", "Teach"));
}

const range = (game, player) => {
  const told = game.view?.tally.players.find((p) => p.player === player);
  if (!told) return null;
  const [low, high] = told.between;
  return low === high ? `${told.total} points` : `${told.total} points, may be ${low} to ${high}`;
};

// Boards ------------------------------------------------------------------------------------------

async function boards({ state, game, table, api, base }) {
  const cards = await Promise.all(state.players.map(async (player, seat) => {
    const board = game.boards[seat];
    const place = await placeOf(board);
    const path = `${api}/boards/${seat}/photo`;
    return h("li", { class: "card" }, h("h2", {}, player), range(game, player) ? h("p", { "aria-live": "polite" }, range(game, player)) : null, progressOf(path),
      board?.state === "reading" ? h("p", { role: "status" }, state.waiting > 2 ? `Waiting for its turn: ${state.waiting} photos wait …` : "Reading …", h("progress", { "aria-label": `Reading ${player}’s board` })) : null,
      board?.state === "refused" ? [h("p", { class: "box", role: "status" }, `${board.reason[0].toUpperCase()}${board.reason.slice(1)} ${board.hint}`), board.corners_help ? h("a", { class: "button", href: `${base}/corners/${seat}` }, "Show its corners") : null] : null,
      place ? [h("a", { href: `${base}/board/${seat}`, "aria-label": `Open ${player}’s board` }, boardSvg(place, cellsOf(game, seat, place, table), { label: `${player}’s board as read` })), h("a", { class: "button", href: `${base}/board/${seat}`, "data-key": `open-${seat}` }, `Look closely`), place.strip && !place.strip.used ? stripWords(place.strip) : null, secondPhoto(game, api, player, seat)] : null,
      !board && game.erased.includes(seat) ? h("p", { class: "quiet" }, "The photo was erased on request.") : null, photoInputs(path, `${player}’s board`, `seat-${seat}`, board ? "Take anew" : "Take photo"), board ? h("p", { class: "quiet" }, `${board.name}, sent by ${board.by}`) : null);
  }));
  const swap = h("select", { "aria-label": "First player" }, state.players.map((p, i) => h("option", { value: i }, p)));
  const withWhom = h("select", { "aria-label": "Second player" }, state.players.map((p, i) => h("option", { value: i, selected: i === 1 }, p)));
  return [h("h1", {}, "Boards"), h("p", { class: "quiet" }, "In any order. Ask before you photograph; location data is removed; the referee decides."), h("ul", { class: "cards" }, cards),
    state.players.length > 1 ? [h("h2", {}, "All boards in one photo"), h("p", {}, "They go to the players from left to right, the upper row first."), progressOf(`${api}/photo`), photoInputs(`${api}/photo`, "all boards", "all"),
      h("details", {}, h("summary", {}, "Two photos are with the wrong players"), h("div", { class: "row" }, h("div", { class: "grow" }, swap), h("div", { class: "grow" }, withWhom), h("button", { onclick: async () => { await tell("POST", `${api}/swap`, { seats: [Number(swap.value), Number(withWhom.value)] }); soon(); } }, "Swap their photos")))] : null,
    h("h2", {}, "Next game"), h("div", { class: "row" }, state.games.map((one) => one.number !== game.number ? h("a", { class: "button", href: `#/e/${state.id}/${one.number}/boards` }, `Game ${one.number}`) : null),
      h("button", { onclick: async () => { const made = await tell("POST", `/api/evenings/${state.id}/games`, {}); if (made) location.hash = `#/e/${state.id}/${made.number}/boards`; } }, "Begin another game"))];
}

// A second photo of a board: proposed with its reason, or offered; what came of the one that is there.
function secondPhoto(game, api, player, seat) {
  const board = game.boards[seat];
  if (board?.state !== "read" || board.parts > 1) return null;
  const path = `${api}/boards/${seat}/second/photo`;
  const told = game.view?.boards[seat];
  if (board.second) {
    const refused = board.second.state === "refused";
    const why = refused ? `${board.second.reason} ${board.second.hint}` : weighed(game, seat) ? told.second_refused : null;
    const words = !refused && !weighed(game, seat) ? "Reading the second photo …" : why ? `The second photo is not used: ${why}` : "Two photos are read as one.";
    const drop = async () => { if (await tell("DELETE", `${path}?by=${encodeURIComponent(me())}`)) soon(); };
    return [h("p", { class: why ? "box" : "", role: "status" }, words), progressOf(path), h("p", { class: "quiet" }, `${board.second.name}, sent by ${board.second.by}`),
      why ? photoInputs(path, `${player}’s board once more`, `second-${seat}`, "Take second photo") : null, h("button", { onclick: drop, "data-key": `drop-${seat}` }, "Leave the second photo out")];
  }
  const inputs = [progressOf(path), photoInputs(path, `${player}’s board once more`, `second-${seat}`, "Take second photo")];
  if (told?.look_again) return h("div", { class: "box", role: "status" }, h("p", {}, told.look_again), inputs);
  return h("details", {}, h("summary", { "data-key": `twice-${seat}` }, "Add a second photo"), h("p", {}, "For glare, shadows or hands: move no piece, snap from another side. Both photos are then read as one; answers stay."), inputs);
}

const FOUND = { marks: "its corner marks", artwork: "its printed pattern", corners: "the four corners that were shown" };

function legend(table) {
  return h("ul", { class: "key", "aria-label": "Signs" }, table.colours.map((colour) => h("li", {}, sign(colour), `${colour.letter} ${colour.name}`)), h("li", {}, "– empty"), h("li", {}, "? dashed: unsure"), h("li", {}, "! thick: said by a person, or settled by a second photo"));
}

async function board({ state, game, table, api, base, seat }) {
  const player = state.players[seat];
  const places = await placesOf(game, seat);
  const [place, again] = places;
  if (!place) return [h("h1", {}, player ?? "No such player"), h("p", {}, game.boards[seat] ? "The photo is being read, or no board was found in it." : "There is no photo yet."), h("a", { class: "button", href: `${base}/boards` }, "Back")];
  const cells = cellsOf(game, seat, place, table);
  const doubts = Object.values(cells).filter((cell) => cell.state === "open").length;
  const tap = (cell) => correct({ game, table, api, seat, player, places, cells }, cell);
  const read = await readingOf(game.boards[seat].reading);
  const told = read.parts[game.boards[seat].part].reading;
  return [h("h1", {}, `${player}’s board`), h("p", { "aria-live": "polite" }, [range(game, player), doubts ? `${doubts} of ${Object.keys(cells).length} cells unsure` : "every cell is sure"].filter(Boolean).join(" · ")),
    told.alarm ? h("p", { class: "box", role: "status" }, told.alarm) : null, stripWords(told.key_strip),
    zoomable(boardSvg(place, cells, { label: `${player}’s board; choose a cell to see and correct it`, tap }), `board-${seat}`), h("p", { class: "quiet" }, "Tap a cell to see it and correct it."), legend(table),
    again ? [h("h2", {}, "The second photo"), boardSvg(again, cells, { label: `${player}’s board in the second photo` })] : null,
    h("p", { class: "quiet" }, `Found by ${FOUND[told.method] ?? told.method}, true to ${told.error_mm.toFixed(1)} mm.`),
    h("div", { class: "row" }, h("a", { class: "button", href: `${base}/corners/${seat}` }, "The outline is wrong"), h("a", { class: "button", href: `${base}/boards` }, "All boards"))];
}

const stripWords = (strip) => (strip ? h("p", { class: strip.used ? "quiet" : "box", role: "status" }, strip.words) : null);

function colourButton(table, name, choose, key) {
  const colour = table.colours.find((one) => one.name === name);
  return h("button", { class: "choice", onclick: choose, "data-key": key }, sign(colour), name, h("b", {}, colour?.letter ?? "–"));
}

// The cell in each photo of its board.
const crops = (places, id, label) => places.map((place, i) => crop(place, id, i ? `${label}, second photo` : label));

function correct({ game, table, api, seat, player, places, cells }, id) {
  const cell = cells[id];
  const choose = (colour) => async () => { box.close(); await tell("POST", `${api}/answers`, { seat, cell: id, colour }); soon(); };
  const names = cell.choices ?? [...table.colours.map((c) => c.name), "empty"];
  const said = game.answers.find((answer) => answer.seat === seat && answer.cell === id);
  const by = said ? ` Said by ${said.by}: ${said.colour === "skip" ? "left open" : said.colour}.` : cell.said_by ? ` Settled by ${cell.said_by}.` : "";
  const box = dialog(`${player}, cell ${id}`, crops(places, id, `Cell ${id} on the photo`), h("p", {}, `Read as ${cell.colour}.`, cell.doubt ? ` ${cell.doubt}.` : "", by),
    h("h3", {}, "What lies here?"), names.map((name) => colourButton(table, name, choose(name))), said ? h("button", { onclick: choose("") }, "Take the answer back") : null);
}

async function corners({ state, game, api, base, seat }) {
  const shot = game.boards[seat];
  const size = shot?.size ?? (shot?.state === "read" ? (await readingOf(shot.reading)).picture : null);
  if (!size || !shot.picture) return [h("h1", {}, "The board’s corners"), h("p", {}, "There is no photo to show them in."), h("a", { class: "button", href: `${base}/boards` }, "Back")];
  const start = shot.state === "read" ? (await readingOf(shot.reading)).parts[shot.part].corners.map((p) => [...p]) : null;
  const done = async (corners_px) => { if (await tell("POST", `${api}/boards/${seat}/corners`, { corners_px })) { location.hash = `${base}/boards`; soon(); } };
  return [h("h1", {}, `Corners of ${state.players[seat]}’s board`), cornerPicker(shot.picture, size, start, done), h("a", { class: "button", href: `${base}/boards` }, "Back")];
}

// Questions ---------------------------------------------------------------------------------------

async function ask({ state, game, table, api, base }) {
  const read = Object.values(game.boards).filter((one) => one.state === "read").length;
  if (!game.view) return [h("h1", {}, "Questions"), h("p", {}, read ? "Working out what matters …" : "Snap the boards first."), h("a", { class: "button", href: `${base}/boards` }, "Boards")];
  const open = game.view.questions.filter((q) => !q.left_open);
  const left = game.view.questions.filter((q) => q.left_open);
  const totals = h("ul", { class: "list totals", "aria-live": "polite" }, state.players.map((player) => h("li", {}, h("b", {}, player), " ", range(game, player) ?? "not snapped yet")));
  if (!open.length) return [h("h1", {}, "Questions"), h("p", { role: "status" }, game.fresh ? (left.length ? "Nothing else to ask." : "Nothing to ask: no doubt can change anything.") : "Working out what that settles …"),
    left.length ? [h("h2", {}, "Left open"), h("ul", { class: "list" }, left.map((q) => h("li", {}, `${q.player}, ${q.cell}. ${q.stakes} `, h("button", { onclick: async () => { await tell("POST", `${api}/answers`, { seat: q.seat, cell: q.cell, colour: "" }); soon(); } }, `Ask again: ${q.player} ${q.cell}`))))] : null, h("h2", {}, "Totals"), totals, game.fresh ? h("a", { class: "button first", href: `${base}/tally` }, "To the tally") : null];
  const q = open[0];
  const places = await placesOf(game, q.seat);
  const cell = game.view.boards[q.seat].cells[q.cell];
  const answer = (colour) => async (event) => {
    for (const button of event.target.closest(".ask").querySelectorAll("button")) button.disabled = true;
    const done = await tell("POST", `${api}/answers`, { seat: q.seat, cell: q.cell, colour });
    if (done === undefined) redraw(); else soon();
  };
  const [first, second, ...others] = cell.choices;
  return [h("h1", {}, `${q.player}, cell ${q.cell}`), h("p", { class: "quiet", role: "status" }, open.length === 1 ? "The last question." : `${open.length} questions; an answer may settle others.`),
    h("div", { class: "ask" }, h("div", { class: "look" }, crops(places, q.cell, `Cell ${q.cell} of ${q.player}’s board, outlined on the photo`), h("div", {}, h("p", {}, `Why: ${cell.doubt ?? "it is in doubt"}.`), h("p", {}, q.stakes))),
      h("div", {}, h("h2", {}, "What lies here?"),
        colourButton(table, first, answer(first), "choice-1"), colourButton(table, second, answer(second), "choice-2"),
        h("details", {}, h("summary", { "data-key": "others" }, "Something else"), others.map((name) => colourButton(table, name, answer(name)))),
        h("button", { onclick: answer("skip") }, "Leave it open"))),
    game.view.boards[q.seat].look_again && game.boards[q.seat].parts === 1 ? [h("h2", {}, "Or one more photo"), secondPhoto(game, api, q.player, q.seat)] : null,
    h("h2", {}, "Totals meanwhile"), totals];
}

// Claims ------------------------------------------------------------------------------------------

function pickPlayer(state, which) {
  return h("div", { class: "row", role: "group", "aria-label": "Player" }, state.players.map((player, seat) => h("button", { class: chosen[which] === seat ? "first" : "", "aria-pressed": String(chosen[which] === seat), "data-key": `who-${seat}`, onclick: () => { chosen[which] = seat; redraw(); } }, player)));
}

async function claims({ state, game, table, api }) {
  const seat = chosen.player = Math.min(chosen.player, state.players.length - 1);
  const mine = game.claims[seat] ?? [];
  const facts = game.facts[seat] ?? [];
  const found = game.view?.boards[seat]?.cards;
  const place = await placeOf(game.boards[seat]);
  const cells = place ? cellsOf(game, seat, place, table) : {};
  const set = async (cards, truths) => { await tell("PUT", `${api}/claims/${seat}`, { cards, facts: truths }); soon(); };
  const flip = (list, name) => (list.includes(name) ? list.filter((one) => one !== name) : [...list, name]);
  const card = (one) => {
    const told = found?.find((f) => f.card === one.name);
    const claimed = mine.includes(one.name);
    const state_ = !told ? "" : told.missing.length ? `✗ Not found: ${told.words.split(", ").slice(1).join(", ")}` : "✓ Found on the photo";
    const light = () => dialog(`${state.players[seat]}, ${one.name}`, h("p", {}, told.missing.length ? `${told.words}.` : "Complete here:"), boardSvg(place, cells, { label: `${one.name}: ${told.cells.join(" ")}`, lit: told.cells, wanted: told.missing.map((m) => m.cell) }));
    return h("li", { class: "card" }, h("button", { class: "claim", "aria-pressed": String(claimed || one.common), disabled: one.common, "data-key": `claim-${one.name}`, onclick: () => set(flip(mine, one.name), facts) },
      h("img", { src: one.picture, alt: "" }), h("span", {}, h("b", {}, one.name), `${one.points}; ${one.moves}`, h("span", { class: "state" }, one.common ? "Open to all" : claimed ? "Claimed" : "Not claimed"))),
      told && (claimed || one.common) ? [h("p", { class: told.missing.length ? "mind" : "", role: "status" }, state_), place ? h("button", { "data-key": `where-${one.name}`, onclick: light }, told.missing.length ? "Where it is nearest" : "Show where") : null] : null);
  };
  return [h("h1", {}, "Claims"), h("p", {}, "Tap the cards that the player says are complete."), pickPlayer(state, "player"), range(game, state.players[seat]) ? h("p", { "aria-live": "polite" }, range(game, state.players[seat])) : h("p", { class: "quiet" }, "This board is not read yet; claims can be noted all the same."),
    h("ul", { class: "cards" }, table.cards.map(card)), table.facts.length ? [h("h2", {}, "At the end"), h("div", { class: "row" }, table.facts.map((fact) => h("button", { "aria-pressed": String(facts.includes(fact)), class: facts.includes(fact) ? "first" : "", onclick: () => set(mine, flip(facts, fact)) }, fact)))] : null];
}

// Tally -------------------------------------------------------------------------------------------

async function tally({ state, game, table, api, base }) {
  if (!game.view) return [h("h1", {}, "Tally"), h("p", {}, "No board is read yet."), h("a", { class: "button", href: `${base}/boards` }, "Boards")];
  const told = game.view.tally;
  const players = told.players.map((p) => p.player);
  const seatOf = (player) => state.players.indexOf(player);
  const places = await Promise.all(players.map((player) => placeOf(game.boards[seatOf(player)])));
  const missing = state.players.filter((player) => !players.includes(player));
  const file = `${api}/tally`;
  const title = `${table.game}, ${state.name}`;
  const shareText = async () => {
    const text = await (await fetch(`${file}.txt`)).text();
    if (navigator.share) { try { await navigator.share({ title, text }); return; } catch { /* put away; the clipboard is left */ } }
    try { await navigator.clipboard.writeText(text); say("Copied. Paste it into a message."); } catch { dialog("The tally as text", h("pre", { tabindex: "0", class: "scroll" }, text)); }
  };
  return [h("h1", {}, "Tally"), h("p", { class: told.settled ? "" : "mind", role: "status" }, told.verdict), told.problem_words.map((words) => h("p", { class: "box" }, words)),
    tallyTable(players, told.rows, told.totals, told.settled ? told.winners : [], (column, label) => proof(told.players[column], label, places[column], game.view.boards[seatOf(players[column])].cells)),
    h("p", { class: "quiet noprint" }, "Each number opens its proof on the photo."), told.unsure_words.map((words) => h("p", { class: "quiet" }, words)),
    h("h2", {}, "Said by people"), game.answers.length ? h("ul", {}, game.answers.map((a) => h("li", {}, `${a.player}’s ${a.cell}: ${a.colour === "skip" ? "left open" : a.colour}, by ${a.by}`))) : h("p", { class: "quiet" }, "Nothing was asked or corrected."),
    h("div", { class: "noprint" }, h("h2", {}, "Share"), h("div", { class: "row" }, h("a", { class: "button", href: `${file}.png`, download: "tally.png" }, "Picture (PNG)"), h("a", { class: "button", href: `${file}.pdf`, download: "tally.pdf" }, "PDF"), h("button", { onclick: shareText, "data-key": "share-text" }, "Text"), h("a", { class: "button", href: `${file}.html`, download: "score-sheet.html" }, "Score sheet"), h("button", { onclick: () => print() }, "Print")),
      h("h2", {}, "Keep"), game.kept ? h("p", {}, "Kept in the archive as ", h("a", { href: `#/archive/${game.kept}` }, `game ${game.kept}`), game.as_kept ? "." : "; it was changed here since.") : null, game.as_kept ? null : h("button", { class: game.kept ? "" : "first", disabled: missing.length > 0, onclick: async () => { const kept = await tell("POST", `${api}/keep`, {}); if (kept) { say(`Kept as game ${kept.number}.`); soon(); } } }, game.kept ? "Keep the change in its place" : "Keep in the archive"), lesson(game, told.settled, api, base))];
}

// What the table learned of a wrong board it would believe of later ones: a person looks first.
function lesson(game, settled, api, base) {
  if (!game.learned && !(game.as_kept && settled)) return null;
  const set = async (learn) => {
    const done = await tell("PUT", `${api}/lesson`, { learn });
    if (!done) return;
    if (done.words.length) dialog("Learned, but look", h("ul", {}, done.words.map((words) => h("li", {}, words))));
    else say(learn ? "Learned. It counts from the next game on." : "Forgotten.");
    soon();
  };
  if (game.learned) return h("div", {}, h("p", {}, "The table has learned from these boards; later games under this lamp are asked less. "), h("button", { "data-key": "forget", onclick: () => set(false) }, "Forget them again"));
  return h("div", {}, h("p", { class: "quiet" }, "The table can learn from these boards, so that later games under this lamp are asked less. ", h("a", { href: `${base}/boards` }, "Look through them"), " first: a piece that was read wrongly would be learned wrongly."), h("button", { "data-key": "learn", onclick: () => set(true) }, "Every piece lies as shown: learn"));
}

// Teaching ----------------------------------------------------------------------------------------

async function teach({ state, game, table, base }) {
  const seat = chosen.teach = Math.min(chosen.teach, state.players.length - 1);
  const view = game.view?.boards[seat];
  const place = await placeOf(game.boards[seat]);
  if (!view || !place) return [h("h1", {}, "Teach"), h("p", {}, "A board snapped in mid-game shows what may come next."), pickPlayer(state, "teach"), h("p", { class: "quiet" }, "This board is not read yet."), h("a", { class: "button", href: `${base}/boards` }, "Boards")];
  const near = view.cards.filter((one) => one.missing.length === 1);
  const list = (items, none) => (items.length ? h("ul", { class: "list" }, items) : h("p", { class: "quiet" }, none));
  const lift = view.may_lift.map((one) => one.cell);
  return [h("h1", {}, "Teach"), pickPlayer(state, "teach"), h("p", { class: "quiet" }, "As read from the photo of this moment; unsure cells count as what they most look like."),
    h("h2", {}, `A piece may lie in ${view.may_lie.length || "no"} cells`), view.may_lie.length ? boardSvg(place, view.cells, { label: `A piece may lie in ${view.may_lie.join(" ")}`, lit: view.may_lie, letters: false }) : h("p", { class: "quiet" }, "The board has no free cell that would hold a piece."), h("p", {}, view.may_lie.join(" ")),
    h("h2", {}, `${lift.length || "No"} pieces may be lifted`), lift.length ? boardSvg(place, view.cells, { label: `May be lifted: ${lift.join(" ")}`, lit: lift }) : null, list(view.may_lift.map((one) => h("li", {}, h("b", {}, `${one.cell} ${view.cells[one.cell].colour}${view.cells[one.cell].state === "open" ? " (unsure)" : ""}`), ` · ${one.words}`)), "Each piece holds another one up."),
    h("h2", {}, "One piece away"), list(near.map((one) => h("li", {}, h("b", {}, one.card), ` ${one.words.split(", ").slice(1).join(", ")} `, h("button", { onclick: () => dialog(one.card, h("p", {}, `${one.words}.`), boardSvg(place, view.cells, { label: one.words, lit: one.cells, wanted: one.missing.map((m) => m.cell) })) }, `Show ${one.card}`))), "No card lacks just one piece.")];
}


// The first page, a new evening, further phones, and what was kept.
import { call, me, tell } from "./api.js";
import { boardSvg, zoomable } from "./board.js";
import { dialog, field, h, say, today, when } from "./dom.js";


export async function home() {
  const desk = await call("GET", "/api/desk");
  if (desk.demo && !location.hash) { location.replace(`#/e/${desk.evenings[0].id}/1/boards`); return null; }
  const name = h("input", { type: "text", value: me(), maxlength: 40, autocomplete: "nickname", onchange: () => localStorage.setItem("by", name.value.trim() || "host") });
  return [
    h("h1", {}, "The scorer’s desk"),
    h("p", {}, "Snap every player’s final board. What the photo leaves unsure is asked, and each point is shown with the pieces that give it."),
    h("div", { class: "row" }, h("a", { class: "button first grow", href: "#/new" }, "New evening"), h("a", { class: "button grow", href: "#/calibrate" }, "Learn a table"), h("a", { class: "button grow", href: "#/tables" }, "Tables"), h("a", { class: "button grow", href: "#/sheets" }, "Game sheets"), h("a", { class: "button grow", href: "#/archive" }, "Archive"), h("a", { class: "button grow", href: "#/phones" }, "Phones")),
    field("Your name", name, "Kept with every answer you give."),
    h("h2", {}, "Evenings"),
    desk.evenings.length ? h("ul", { class: "list" }, desk.evenings.map((evening) => h("li", {}, h("a", { class: "line", href: `#/e/${evening.id}/${evening.games}/boards` },
      h("b", {}, evening.name), h("br"), h("span", { class: "quiet" }, `${evening.players.join(", ")} · ${when(evening.at)} · ${evening.games === 1 ? "1 game" : `${evening.games} games`}`))))) : h("p", { class: "quiet" }, "None yet. Begin one, and it stays here, whatever happens to this phone."),
  ];
}

export async function newEvening() {
  const desk = await call("GET", "/api/desk");
  if (!desk.tables.length) return [h("h1", {}, "New evening"), h("p", {}, "No table is learned yet: the desk must first see your pieces in your light. It takes three photos."), h("a", { class: "button first", href: "#/calibrate" }, "Learn a table")];
  const name = h("input", { type: "text", value: today(), maxlength: 40, required: true });
  const table = h("select", {}, desk.tables.map((t) => h("option", { value: t.name }, `${t.game} (${t.title})`)));
  const players = h("div", {});
  const add = (value = "") => {
    const number = players.children.length + 1;
    players.append(field(`Player ${number}`, h("input", { type: "text", maxlength: 40, value, autocomplete: "off", name: "player", onfocus: (event) => event.target.select() })));
  };
  add("Player 1"); add("Player 2"); add();
  const send = async (event) => {
    event.preventDefault();
    const names = [...players.querySelectorAll("input")].map((input) => input.value.trim()).filter(Boolean);
    if (!names.length) { say("Name at least one player."); players.querySelector("input").focus(); return; }
    const made = await tell("POST", "/api/evenings", { name: name.value, table: table.value, players: names });
    if (made) location.hash = `#/e/${made.id}/1/boards`;
  };
  return [h("h1", {}, "New evening"), h("form", { onsubmit: send }, field("Name of the evening", name), field("Game and table", table, "A table is one set of pieces in one light."),
    h("h2", {}, "Players"), players, h("button", { type: "button", onclick: () => { add(); players.lastChild.querySelector("input").focus(); } }, "One more player"),
    h("div", { class: "row" }, h("button", { class: "first grow", type: "submit" }, "Begin")))];
}

export async function phones() {
  const place = h("div", {});
  const make = async () => {
    const made = await tell("POST", "/api/invitations", {});
    if (!made) return;
    const qr = h("img", { src: `data:image/svg+xml,${encodeURIComponent(made.qr)}`, alt: "QR code with the address below", width: 288, height: 288 });
    place.replaceChildren(h("p", {}, "Scan this with the other phone’s camera. The code lets one phone in, once, within a quarter of an hour."), h("div", { class: "qr" }, qr), h("p", {}, h("code", {}, made.address)));
  };
  const desk = await call("GET", "/api/desk");
  if (!desk.lan) return [h("h1", {}, "Phones"), h("p", { class: "box" }, "This desk is open on this machine only."), h("p", {}, "To let phones in, stop it with Ctrl-C where it was started, and start it so: ", h("code", {}, "tallyglass serve --lan")), h("p", {}, "The terminal then shows a code for the first phone; nothing leaves the room, and no internet is needed.")];
  const leave = async () => { await tell("DELETE", "/api/session"); location.reload(); };
  return [h("h1", {}, "Phones"),
    h("p", {}, "All phones see the same evening. Nothing leaves the room: the laptop does the work, without internet."),
    h("div", { class: "row" }, h("button", { class: "first", onclick: make }, "Let one more phone in"), h("button", { onclick: leave }, "Sign this phone out")), place];
}

const searched = { text: "", player: "", game: "", card: "", date: "" };
const PAGE = 50;

export async function archive() {
  const list = h("div", { "aria-live": "polite" });
  const shown = [];
  const fill = async (before) => {
    const words = searched.text.split(/\s+/).filter(Boolean).map((word) => (word.endsWith("*") ? word : `${word}*`)).join(" ");
    const wanted = Object.entries({ ...searched, text: words, before }).filter(([, value]) => value);
    let games;
    try { games = await call("GET", `/api/archive/games?${new URLSearchParams([...wanted, ["limit", PAGE]])}`); } catch (error) { list.replaceChildren(h("p", { class: "mind" }, error.message)); return; }
    if (!before) shown.length = 0;
    shown.push(...games);
    const evenings = [...new Set(shown.map((game) => game.evening))];
    const none = wanted.length ? "No kept game has all of this." : "No game is kept yet. A game’s tally has the button for it.";
    list.replaceChildren(...(shown.length ? evenings.flatMap((evening) => [h("h2", {}, evening || "Games"), h("ul", { class: "list" }, shown.filter((game) => game.evening === evening).map((game) => h("li", {}, h("a", { class: "line", href: `#/archive/${game.id}` }, h("b", {}, `${game.game}, game ${game.id}`), h("br"),
      Object.entries(game.totals).map(([player, total]) => `${player} ${total}`).join(", "), h("br"), h("span", { class: "quiet" }, `${when(game.saved_at)} · ${game.settled ? `won by ${game.winners.join(", ")}` : "still open, won by nobody yet"}`)))))]) : [h("p", { class: "quiet" }, none)]));
    if (games.length === PAGE) list.append(h("button", { onclick: () => fill(games.at(-1).id) }, "Older games"));
  };
  let timer = 0;
  const box = (key) => h("input", { type: "search", value: searched[key], maxlength: key === "date" ? 10 : 100, autocomplete: "off", "data-key": `search-${key}`, oninput: (event) => { searched[key] = event.target.value.trim(); clearTimeout(timer); timer = setTimeout(fill, 200); } });
  await fill();
  return [h("h1", {}, "Archive"), h("p", {}, h("a", { class: "button", href: "#/standings" }, "Standings")), field("Search", box("text"), "Words or their beginnings: players, games, cards, evenings"),
    h("details", { open: Boolean(searched.player || searched.game || searched.card || searched.date) }, h("summary", {}, "Look for one player, game, card or date"), h("div", { class: "two" }, field("Player", box("player"), "The whole name"), field("Game", box("game"), "The whole name"), field("Card", box("card"), "Claimed by somebody; the whole name"), field("Date of play", box("date"), "Such as 2026, 2026-11 or 2026-11-25"))), list];
}

export async function standings() {
  const all = await call("GET", "/api/archive/standings");
  const open = (one) => (one.open ? h("p", { class: "mind" }, one.open === 1 ? "1 game is still open: it counts once its doubts are settled." : `${one.open} games are still open: they count once their doubts are settled.`) : null);
  const table = (one) => h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": `Standings of ${one.game}` }, h("table", {}, h("thead", {}, h("tr", {}, ["Player", "Games", "Won", "Best", "Mean"].map((word) => h("th", { scope: "col" }, word)))),
    h("tbody", {}, one.players.map((row) => h("tr", {}, h("th", { scope: "row" }, row.player), [row.games, row.wins, row.best, row.mean].map((value) => h("td", {}, String(value))))))));
  return [h("h1", {}, "Standings"), h("p", {}, h("a", { href: "#/archive" }, "Back to the archive")), all.length ? null : h("p", { class: "quiet" }, "No game is kept yet."),
    all.map((one) => [h("h2", {}, one.game), one.players.length ? table(one) : null, open(one)])];
}

// All words of several lists, each of which has its own in one common order.
function inOrder(lists) {
  const all = [];
  for (const list of lists) {
    let at = 0;
    for (const word of list) {
      const there = all.indexOf(word);
      if (there < 0) all.splice(at, 0, word);
      at = (there < 0 ? at : there) + 1;
    }
  }
  return all;
}

export async function keptGame(_state, number) {
  const game = await call("GET", `/api/archive/games/${number}`);
  const places = await Promise.all(game.boards.map((board, seat) => (board.erased ? null : call("GET", `/api/archive/games/${number}/boards/${seat}/outlines`))));
  places.forEach((place, seat) => { if (place) place.picture = `/api/archive/games/${number}/boards/${seat}/photo.jpg`; });
  const players = game.tally.players;
  const open = game.tally.settled === false;
  const labels = inOrder(players.map((player) => player.lines.map((line) => line.label)));
  const state = (player, cell) => (game.answers.some((a) => a.player === player && a.cell === cell && a.colour !== "skip") ? "answered" : (game.tally.unsure ?? []).some((u) => u.player === player && u.cell === cell) ? "open" : "sure");
  const told = (seat) => Object.fromEntries(Object.entries(game.boards[seat].grid).map(([cell, colour]) => [cell, { colour, letter: places[seat]?.letters[colour] ?? "–", state: state(game.boards[seat].player, cell) }]));
  const seatOf = (player) => game.boards.findIndex((board) => board.player === player);
  const total = ({ total, between: [low, high] = [total, total] }) => (low === high ? String(total) : `${total} (${low} to ${high})`);
  const board = (one, seat) => [h("h2", {}, one.player), places[seat] ? zoomable(boardSvg(places[seat], told(seat), { label: `${one.player}’s board as kept` }), `kept-${seat}`) : h("p", { class: "quiet" }, "The photo was erased on request; what was read of it stays.")];
  return [h("h1", {}, `${game.sheet_name}, game ${game.id}`), h("p", { class: "quiet" }, `Kept ${when(game.saved_at)}. It is never changed.`, game.reason ? ` It takes the place of an earlier entry: ${game.reason}.` : ""),
    game.entries.length ? h("p", { class: game.corrected ? "box" : "" }, game.corrected ? "This entry was corrected since. All entries of this game: " : "Other entries of this game: ", game.entries.map((other) => [h("a", { href: `#/archive/${other}` }, `game ${other}`), " "])) : null,
    h("p", { class: open ? "mind" : "" }, open ? `Still open: ${game.tally.winners.join(", ")} as read, but it was kept with doubts, so nobody has won yet.` : `Won by ${game.tally.winners.join(", ")}. ${game.tally.tie_break ?? ""}`),
    tallyTable(players.map((p) => p.player), labels.map((label) => ({ label, points: players.map((p) => String(p.lines.find((line) => line.label === label)?.points ?? "-")) })), players.map(total), open ? [] : game.tally.winners,
      (column, label) => proof(players[column], label, places[seatOf(players[column].player)], told(seatOf(players[column].player)))),
    game.answers.length ? [h("h2", {}, "Said by people"), h("ul", {}, game.answers.map((a) => h("li", {}, `${a.player}’s ${a.cell}: ${a.colour === "skip" ? "left open" : a.colour} (${a.by})`)))] : null,
    game.boards.map(board), h("details", {}, h("summary", {}, "What read and counted it"), h("p", { class: "quiet" }, `${Object.entries(game.versions).map((part) => part.join(" ")).join(", ")}.`)), h("p", {}, h("a", { href: "#/archive" }, "Back to the archive"))];
}

// Every number is a button that opens its proof on the photo.
export function tallyTable(players, rows, totals, winners, open) {
  const won = (name) => (winners.includes(name) ? "won" : null);
  return h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Points of all players" }, h("table", {}, h("thead", {}, h("tr", {}, h("td"), players.map((name) => h("th", { scope: "col", class: won(name) }, name, winners.includes(name) ? " ★" : "")))),
    h("tbody", {}, rows.map((row) => h("tr", {}, h("th", { scope: "row" }, row.label), row.points.map((points, i) => h("td", { class: won(players[i]) }, points === "-" ? h("span", { "aria-label": "not claimed" }, "–") : h("button", { "data-key": `proof-${row.label}-${i}`, "aria-label": `${players[i]}, ${row.label}: ${points}; show the proof`, onclick: () => open(i, row.label) }, points)))))),
    h("tfoot", {}, h("tr", {}, h("th", { scope: "row" }, "Total"), totals.map((total, i) => h("td", { class: won(players[i]) }, total.split(" (")[0], total.includes(" (") ? h("small", {}, total.split(" (")[1].replace(")", "")) : null))))));
}

export function proof(player, label, place, cells) {
  const line = player.lines.find((one) => one.label === label);
  const lit = [...new Set(line.proofs.flatMap((one) => one.cells))];
  dialog(`${player.player}, ${label}: ${line.points}`,
    lit.length && place ? boardSvg(place, cells, { label: `The pieces that count: ${lit.join(" ")}`, lit }) : null,
    line.note ? h("p", {}, line.note) : null,
    line.proofs.length ? h("ul", { class: "list proofs" }, line.proofs.map((one) => h("li", {}, h("span", {}, `${one.words} `, h("span", { class: "quiet" }, one.cells.join(" "))), h("b", {}, String(one.points))))) : line.note ? null : h("p", {}, "Nothing counts here."));
}

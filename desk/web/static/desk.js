// Which screen is shown, and the state that it shows, asked for again and again.
import { call, linked, onUploads, resume } from "./api.js";
import { h, show } from "./dom.js";
import * as games from "./games.js";
import * as calibrating from "./calibrating.js";
import * as looking from "./looking.js";
import * as making from "./making.js";
import * as cards from "./cards.js";
import * as spreads from "./spreads.js";

const ROUTES = [
  [/^\/?$/, null, looking.home],
  [/^\/new$/, null, looking.newEvening],
  [/^\/phones$/, null, looking.phones],
  [/^\/archive$/, null, looking.archive],
  [/^\/archive\/(\d+)$/, null, looking.keptGame],
  [/^\/sheets$/, null, making.sheets],
  [/^\/sheets\/new$/, null, making.newSheet],
  [/^\/sheets\/([a-z0-9-]+)$/, null, making.sheet],
  [/^\/sheets\/([a-z0-9-]+)\/colours$/, null, spreads.colours],
  [/^\/sheets\/([a-z0-9-]+)\/card$/, null, cards.fromPhoto],
  [/^\/sheets\/([a-z0-9-]+)\/learn$/, null, calibrating.begin],
  [/^\/tables$/, null, making.shelf],
  [/^\/tables\/([a-z0-9-]+)\/trial$/, null, making.trial],
  [/^\/tables\/([a-z0-9-]+)\/count$/, null, spreads.count],
  [/^\/standings$/, null, looking.standings],
  [/^\/calibrate$/, null, calibrating.begin],
  [/^\/calibrate\/([0-9a-f]+)$/, "/api/calibrations/", calibrating.calibration],
  [/^\/calibrate\/([0-9a-f]+)\/corners$/, "/api/calibrations/", calibrating.corners],
  [/^\/e\/([0-9a-f]+)\/(\d+)\/(boards|ask|claims|tally|teach)$/, "/api/evenings/", games.screen],
  [/^\/e\/([0-9a-f]+)\/(\d+)\/(board|corners)\/(\d+)$/, "/api/evenings/", games.screen],
];

let here = null;
let round = 0;

function draw() {
  if (!here || (here.from && !here.state)) return;
  const mine = here; // what was asked for on a screen that was left since is not shown any more
  Promise.resolve(here.screen(here.state, ...here.parts)).then(
    (content) => content && mine === here && show(content),
    (error) => {
      if (mine !== here) return;
      mine.state = null; // so that the next look shows it, once what was missing is there
      show(h("h1", {}, "That did not work"), h("p", { class: "box" }, error.message), h("a", { class: "button", href: "#/" }, "To the first page"));
    },
  );
}

async function watch(mine) {
  while (mine === round) {
    let pause = 2500;
    try {
      const seen = here.state ? `?seen=${encodeURIComponent(here.state.stamp)}` : "";
      const told = await call("GET", here.from + here.parts[0] + seen);
      if (mine !== round) return;
      if (told) { here.state = told; draw(); }
      if (busy(here.state)) pause = 400;
    } catch (error) {
      if (!here.state) { show(h("h1", {}, "Not here"), h("p", { class: "box" }, error.message), h("a", { class: "button", href: "#/" }, "To the first page")); }
    }
    await new Promise((then) => { setTimeout(then, pause); wake = then; });
  }
}

let wake = () => {};
export const look = () => wake();
const busy = (state) => state && (state.busy || state.games?.some((game) => !game.fresh || Object.values(game.boards).some((board) => board.state === "reading" || board.second?.state === "reading")));

function go() {
  const path = location.hash.replace(/^#/, "") || "/";
  const found = ROUTES.map(([pattern, from, screen]) => [pattern.exec(path), from, screen]).find(([match]) => match);
  round += 1;
  if (!found) { show(h("h1", {}, "There is no such page"), h("a", { class: "button", href: "#/" }, "To the first page")); return; }
  const [match, from, screen] = found;
  const same = here && here.from === from && from && here.parts[0] === match[1];
  here = { from, screen, parts: match.slice(1), state: same ? here.state : null };
  document.getElementById("screen").dataset.path = path;
  draw();
  if (from) watch(round);
  scrollTo(0, 0);
  document.getElementById("screen").focus({ preventScroll: true });
}

addEventListener("hashchange", go);
addEventListener("online", () => { linked(true); look(); });
addEventListener("look", () => look());
addEventListener("draw", draw);
onUploads(() => { draw(); look(); });
go();
resume();

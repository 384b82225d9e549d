// Photos of loose pieces: counted at pack-up, and a box's colours named.
import { call, tell } from "./api.js";
import { h } from "./dom.js";
import { filePicker, put } from "./making.js";

// A photo is sent, then worked on; `shown` puts what came of it on the screen.
function fromPhoto(label, key, busy, path, shown) {
  const out = h("div", { role: "status" });
  const take = async (file) => {
    const sent = await put("/api/spreads/photo", file);
    if (!sent) return;
    out.replaceChildren(h("p", {}, busy), h("progress", { "aria-label": busy }));
    const told = await tell("POST", path, { photo: sent.photo });
    out.replaceChildren();
    if (told) out.append(...shown(told));
  };
  return [h("div", { class: "row" }, filePicker(label, "image/*", key, take)), out];
}

function balance({ supply, counted }, open) {
  if (supply === null) return "";
  if (counted === supply) return "complete";
  return counted < supply ? `${open ? "at most " : ""}${supply - counted} missing` : `${open ? "at least " : ""}${counted - supply} too many`;
}

export async function count(_state, table) {
  const { tables } = await call("GET", "/api/shelf");
  const name = tables.find((one) => one.id === table)?.name ?? table;
  const photos = []; // those counted so far: several photos of one box add up
  const shown = (told) => {
    photos.push(told);
    const sum = told.colours.map((colour, k) => ({ ...colour, counted: photos.reduce((all, one) => all + one.colours[k].counted, 0) }));
    const open = photos.reduce((all, one) => all + one.open.length, 0);
    return [h("p", {}, `${told.seen} pieces seen${photos.length > 1 ? `, in ${photos.length} photos together:` : "."}`),
      told.warning ? h("p", { class: "box" }, told.warning) : null,
      h("table", {}, h("caption", {}, open ? `Not final: ${open} ${open === 1 ? "place is" : "places are"} not counted` : "Every place is counted"),
        h("thead", {}, h("tr", {}, ["Colour", "Counted", "In the box", ""].map((word) => h("th", { scope: "col" }, word)))),
        h("tbody", {}, sum.map((one) => h("tr", {}, h("th", { scope: "row" }, `${one.letter} ${one.name}`), h("td", {}, `${one.counted}`), h("td", {}, one.supply ?? "not said"), h("td", {}, balance(one, open)))))),
      h("img", { class: "layout", src: told.picture, alt: "The pieces: counted ones with their letters, open places in numbered boxes" }),
      told.open.length ? h("ol", {}, told.open.map((why) => h("li", {}, why))) : null].filter(Boolean);
  };
  return [h("h1", {}, "Count the pieces"), h("p", {}, `Spread the pieces of ${name} out flat on a plain table, none on another, and photograph them from above. No piece may be in two photos.`),
    fromPhoto("Photo of the pieces", "count-photo", "Counting the pieces …", `/api/shelf/${table}/count`, shown), h("a", { class: "button", href: "#/tables" }, "All tables")];
}

export async function colours(_state, sheet) {
  const shown = (told) => [
    h("p", {}, `${told.names.length} pieces: ${told.names.map((name, k) => `${k + 1} ${name}`).join(", ")}.`),
    told.remarks.map((words) => h("p", { class: "box" }, words)),
    h("img", { class: "layout", src: told.picture, alt: "The pieces, numbered from left to right" }),
    h("p", {}, "Names are only proposed by their looks. Put these lines into the sheet in place of its colours:"),
    h("pre", { class: "scroll", tabindex: "0" }, told.toml),
    h("a", { class: "button", href: `data:text/plain;charset=utf-8,${encodeURIComponent(told.toml)}`, download: `${sheet}-colours.toml` }, "Save as a file")].flat();
  return [h("h1", {}, "Colours from a photo"), h("p", {}, "Lay one piece of each colour in a row on a plain table of another colour, and photograph them from above."),
    fromPhoto("Photo of the row", "colours-photo", "Looking at the pieces …", `/api/sheets/${sheet}/colours`, shown), h("a", { class: "button", href: `#/sheets/${sheet}` }, "The sheet")];
}

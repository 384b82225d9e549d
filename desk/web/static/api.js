// Talking to the desk. The same interface that scripts use (/api).
import { say } from "./dom.js";

export class Refused extends Error {}

export async function call(method, path, body) {
  let answer;
  try {
    answer = await fetch(path, { method, cache: "no-store", headers: { "X-Tallyglass": "1", ...(body ? { "Content-Type": "application/json" } : {}) }, body: body ? JSON.stringify(body) : undefined });
  } catch {
    linked(false);
    throw new Refused("The desk cannot be reached. It goes on as soon as the connection is back.");
  }
  linked(true);
  if (answer.status === 204) return null;
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Refused(told.problem ?? "The desk could not do that.");
  return told;
}

// For what a person pressed: a refusal is said, never lost.
export async function tell(method, path, body) {
  try {
    return await call(method, path, { ...body, by: me() });
  } catch (error) {
    say(error.message);
    return undefined;
  }
}

export function linked(up) {
  document.getElementById("link").textContent = up ? "" : "No connection; trying again …";
}

export function me() {
  return localStorage.getItem("by") || "host";
}

// Photos wait in the browser's own store until the desk has acknowledged them, so that neither a
// reload nor a lost connection loses one. Sent twice, a photo counts once: the upload has a name.
const waiting = new Map();
export const uploads = waiting;
let changed = () => {};
export const onUploads = (then) => (changed = then);

function store(mode) {
  return new Promise((resolve, reject) => {
    const open = indexedDB.open("tallyglass", 1);
    open.onupgradeneeded = () => open.result.createObjectStore("photos", { keyPath: "id" });
    open.onsuccess = () => resolve(open.result.transaction("photos", mode).objectStore("photos"));
    open.onerror = () => reject(open.error);
  });
}

const settled = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

export async function sendPhoto(path, file) {
  const id = [...crypto.getRandomValues(new Uint8Array(12))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const photo = { id, path, name: file.name, file, by: me() };
  try {
    await settled((await store("readwrite")).put(photo));
  } catch {
    // A private window has no store; the photo is then sent from memory alone.
  }
  push(photo);
}

export async function resume() {
  try {
    for (const photo of await settled((await store("readonly")).getAll())) if (!waiting.has(photo.id)) push(photo);
  } catch {
    // No store, nothing waits.
  }
}

async function push(photo) {
  waiting.set(photo.id, { path: photo.path, name: photo.name, share: 0 });
  changed();
  for (let pause = 1; ; pause = Math.min(2 * pause, 15)) {
    const told = await once(photo);
    if (told.status) {
      if (told.status !== 200) say(told.problem ?? "The desk did not take the photo.");
      break;
    }
    linked(false);
    await new Promise((then) => setTimeout(then, pause * 1000));
  }
  linked(true);
  waiting.delete(photo.id);
  try { await settled((await store("readwrite")).delete(photo.id)); } catch { /* as above */ }
  changed();
}

function once(photo) {
  return new Promise((resolve) => {
    const request = new XMLHttpRequest();
    const query = new URLSearchParams({ upload: photo.id, name: photo.name || "photo", by: photo.by });
    request.open("PUT", `${photo.path}?${query}`);
    request.setRequestHeader("X-Tallyglass", "1");
    request.upload.onprogress = (event) => {
      const told = waiting.get(photo.id);
      if (told) told.share = event.total ? event.loaded / event.total : 0;
      changed();
    };
    const gone = () => resolve({ status: 0 });
    request.onerror = gone;
    request.ontimeout = gone;
    request.onload = () => {
      let told = {};
      try { told = JSON.parse(request.responseText); } catch { /* said below */ }
      resolve(request.status === 408 || request.status >= 500 ? { status: 0 } : { status: request.status, problem: told.problem });
    };
    request.send(photo.file);
  });
}

const readings = new Map();

export async function readingOf(key) {
  if (!readings.has(key)) readings.set(key, await call("GET", `/api/readings/${key}`));
  return readings.get(key);
}

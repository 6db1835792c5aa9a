"use strict";
// The form for a phone at the bench. What is done here is written on the phone first, with a name of its own (a UUID), then sent;
// each action says the whole entry as it should be, so that it may be sent twice, late or out of order.

const API = "/log/v1/";
// a spell just finished waits so long for what is still to be said of it
const HOLD_MS = 120000;
const PATIENCE_MS = 20000;
const byId = (id) => document.getElementById(id);
let state = JSON.parse(byId("state").textContent);
// actions that the studio has not settled yet, in the order in which they were made
let queue = [];
let kept = { phone: "", person: "", shared: false, number: 0, last: 0, offset: 0, paused: [], still: {} };
let drafts = {};
let trouble = "", clockOff = 0, storing = true, fresh = false;
// whose device this is, as the studio says: {person, alone} or {shared}; alone: it logs for nobody else
const device = state.device || {};
// what was done just now, and how to undo it
let gesture = null;
let view = null;

// --- small helpers

function el(tag, about, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(about || {})) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value != null) made.setAttribute(name, value);
  }
  made.append(...children.flat().filter((child) => child != null && child !== false));
  return made;
}
// A second tap while the first is still being written on the phone is the same tap.
const once = (act) => {
  let busy = false;
  return async (event) => {
    event?.preventDefault();
    if (busy) return;
    busy = true;
    try { await act(); } finally { busy = false; }
  };
};
const button = (words, act, about) => el("button", { type: "button", onclick: once(act), ...about }, words);
const uuid = () => {
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 15) | 64;
  b[8] = (b[8] & 63) | 128;
  return [...b].map((n, i) => ([4, 6, 8, 10].includes(i) ? "-" : "") + n.toString(16).padStart(2, "0")).join("");
};
const folded = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase().replace(/[-_/\s]+/g, " ").trim();
// the studio's clock, as far as this phone knows it
const now = () => Date.now() + kept.offset;
const plural = (n, one, many) => `${n} ${n === 1 ? one : many}`;
const technique = (name) => state.techniques.find((one) => one.technique === name || (one.aliases || []).includes(name));
const work = (code) => state.works.find((one) => one.object === code);
const called = (code) => {
  const found = work(code);
  return !code ? "studio time" : found?.title && !kept.shared ? `${code} ${found.title}` : code;
};
const named = (row) => (row.technique || "?") + (row.part ? `, ${row.part}` : "");
const onWork = (row, works = []) => `${named(row)} on ${works.map((one) => one.object).join(", ") || row.object || "studio time"}`;
const modeOf = (row) => row.mode || (technique(row.technique) || {}).mode || "hands_on";
const lineOf = ({ object, phase, technique, part, mode }) => ({ object: object || "", phase: phase || "", technique: technique || "", part: part || "", ...(mode && { mode }) });

// Clock readings are those of the studio's zone, wherever the phone thinks it is.
const clock = new Intl.DateTimeFormat("en-GB", { timeZone: state.zone, year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
const wallOf = (ms) => {
  const part = Object.fromEntries(clock.formatToParts(ms).map((one) => [one.type, one.value]));
  return `${part.year}-${part.month}-${part.day} ${part.hour}:${part.minute}`;
};
const instant = (ms) => `${new Date(ms).toISOString().slice(0, 19)}Z`;
const onClock = (wall) => Date.parse(wall.replace(" ", "T") + "Z") / 36e5;
const today = () => wallOf(now()).slice(0, 10);
const plusDays = (day, n) => new Date(Date.parse(`${day}T12:00Z`) + n * 864e5).toISOString().slice(0, 10);
const dayWords = (day) => {
  const far = Math.round((Date.parse(today()) - Date.parse(day)) / 864e5);
  const said = new Date(`${day}T12:00Z`).toLocaleDateString("en-GB", { timeZone: "UTC", weekday: "long", day: "numeric", month: "long" });
  return far === 0 ? `today, ${said}` : far === 1 ? `yesterday, ${said}` : said;
};
const clockWords = (ms) => `${wallOf(ms).slice(11)} ${dayWords(wallOf(ms).slice(0, 10)).replace(/^today.*/, "").replace(/^(yesterday).*/, "$1").replace(/^((?!yes)\w+day)/, "on $1")}`.trim();
const longWords = (ms) => {
  const minutes = Math.max(0, Math.round(ms / 6e4));
  if (minutes < 1) return "less than a minute";
  if (minutes < 60) return plural(minutes, "minute", "minutes");
  if (minutes < 48 * 60) return `${Math.floor(minutes / 60)} h${minutes % 60 ? ` ${minutes % 60} min` : ""}`;
  return plural(Math.round(minutes / 1440), "day", "days");
};
const hoursTyped = (text) => (/^[\d.,¼½¾]+$/.test(text) ? `${text} h` : text);
const spent = (hours) => (hours < 48 ? longWords(hours * 36e5) : `${Math.round(hours)} h`);

// --- what is kept on the phone

let store = null;
const asked = (request) => new Promise((resolve, reject) => { request.onsuccess = () => resolve(request.result); request.onerror = () => reject(request.error); });
function opened() {
  return new Promise((resolve) => {
    try {
      const request = indexedDB.open("bench-hours", 1);
      request.onupgradeneeded = () => { request.result.createObjectStore("actions", { keyPath: "action" }); request.result.createObjectStore("kept"); };
      request.onsuccess = () => resolve(request.result);
      request.onerror = request.onblocked = () => resolve(null);
    } catch { resolve(null); }
  });
}
// One transaction over both stores; done once the phone says that it is on its disk.
function inStore(work) {
  return new Promise((resolve, reject) => {
    const change = store.transaction(["actions", "kept"], "readwrite", { durability: "strict" });
    let found;
    change.oncomplete = () => resolve(found);
    change.onabort = change.onerror = () => reject(change.error);
    Promise.resolve(work(change.objectStore("actions"), change.objectStore("kept"))).then((value) => { found = value; }, () => change.abort());
  });
}
// Another tab may have counted on meanwhile: the count of actions never falls.
const later = (there = {}) => ({ number: Math.max(kept.number, there.number || 0), last: Math.max(kept.last, there.last || 0) });
async function counted(others) {
  Object.assign(kept, later(await asked(others.get("kept"))));
  others.put(kept, "kept");
}
async function keepMine() {
  if (store) await inStore((_, others) => counted(others)).catch(notKept);
}
async function keepDraft(name) {
  if (store) await inStore((_, others) => { if (drafts[name]) others.put(drafts[name], `draft ${name}`); else others.delete(`draft ${name}`); }).catch(notKept);
}
function notKept() { storing = false; tell(); }
async function recall() {
  if (!store) return;
  const [actions, names, values] = await inStore((actions, others) => Promise.all([actions.getAll(), others.getAllKeys(), others.getAll()].map(asked)));
  const held = Object.fromEntries(names.map((name, i) => [name, values[i]])), last = held.state;
  queue = [...actions, ...queue.filter((one) => one.unkept && !actions.some((two) => two.action === one.action))].sort((a, b) => a.number - b.number);
  kept = { ...kept, ...held.kept, ...later(held.kept) };
  drafts = Object.fromEntries(names.filter((name) => name.startsWith("draft ")).map((name) => [name.slice(6), held[name]]));
  if (last && last.clock > state.clock) state = { ...last };
  else if (last && last.person === kept.person) state = { ...state, person: last.person, entries: last.entries, to_mend: last.to_mend, in_hand: union(state.in_hand, last.in_hand) };
}
// The page as it was sent does not know whose it is: what this phone knew of its own spells stays until the studio tells.
function union(told, known) {
  const names = new Set(told.map((one) => one.entry));
  return [...told, ...(known || []).filter((one) => one.entry && !names.has(one.entry))];
}
const other = typeof BroadcastChannel === "function" ? new BroadcastChannel("bench-hours") : null;
if (other) other.onmessage = () => recall().then(show);
const changed = () => other && other.postMessage("changed");

// --- entries as they stand, with what was not settled yet over what the studio told

function entries() {
  const all = new Map();
  const put = (entry, said, more) => all.set(entry, { entry, ...said, ...more });
  for (const one of state.entries || []) put(one.entry, { state: "logged", row: one.row, taps: {} }, { hours: one.hours });
  for (const one of state.in_hand || []) if (one.entry) put(one.entry, { state: "running", row: { ...one.row, started_at: instant(one.since) }, taps: {} }, { since: one.since });
  for (const one of state.to_mend || []) put(one.entry, one, { refused: one.faults });
  for (const one of queue) put(one.entry, one, { refused: one.refused, here: !one.received });
  return [...all.values()].map(timed);
}
function timed(one) {
  const moment = (name) => (one.taps && one.taps[name] != null ? one.taps[name] + kept.offset : /Z$/.test(one.row[name] || "") ? Date.parse(one.row[name]) : null);
  const since = moment("started_at"), until = moment("ended_at");
  const from = since != null ? wallOf(since) : one.row.started_at || "", to = until != null ? wallOf(until) : one.row.ended_at || "";
  const hours = since != null && until != null ? (until - since) / 36e5 : from && to ? onClock(to) - onClock(from) : one.hours;
  return { ...one, since, from, to, hours, day: (from || one.row.date || "").slice(0, 10) };
}
const mine = (one) => one.row.person === kept.person || (kept.shared && one.row.person);
const inHand = () => entries().filter((one) => one.state === "running" && (mine(one) || modeOf(one.row) === "unattended"));
const find = (entry) => entries().find((one) => one.entry === entry);
const saying = ({ state = "struck", row = {}, taps = {}, works = [], split = "equally" } = {}) => ({ state, row, taps, works, split });

// --- saying something: on the phone first, then to the studio

async function say(words, said, { hold = 0, person = kept.person, undoing = false } = {}) {
  const before = said.map(({ entry }) => ({ entry, ...saying(find(entry)) }));
  const made = said.map((one) => ({ action: uuid(), person, ...one, hold: hold && Date.now() + hold }));
  const stamp = (about) => {
    for (const one of made) {
      about.number += 1;
      about.last = Math.max(Date.now(), about.last + 1);
      Object.assign(one, { number: about.number, made_at: about.last });
    }
  };
  // not sent yet: what is said now says it too
  const held = (one) => one.hold && !one.received && made.some((two) => two.entry === one.entry);
  try {
    if (!store) throw new Error("no store");
    await inStore(async (actions, others) => {
      const there = await asked(others.get("kept"));
      const about = { ...kept, ...there, ...later(there), paused: kept.paused, still: kept.still };
      stamp(about);
      for (const one of queue.filter(held)) actions.delete(one.action);
      for (const one of made) actions.put(one);
      others.put(about, "kept");
      kept = about;
    });
  } catch {
    notKept();
    if (!made[0].number) stamp(kept);
    for (const one of made) one.unkept = true;
  }
  queue = [...queue.filter((one) => !held(one)), ...made];
  gesture = words ? { words, undo: undoing ? null : before, person } : null;
  changed();
  show();
  send();
}
async function undo() {
  const back = gesture;
  const shelved = back.undo.filter((one) => one.state === "logged" && one.hold);
  await say(`Undone: ${back.words.charAt(0).toLowerCase()}${back.words.slice(1)}`, back.undo.slice().reverse(), { person: back.person, undoing: true, hold: shelved.length ? HOLD_MS : 0 });
  if (location.hash.startsWith("#entry=")) go("#bench");
}

let sending = false, resend = false, timer = 0, pause = 0;
async function send() {
  if (sending) { resend = true; return; }
  sending = true;
  try {
    const ready = [];
    for (const one of queue.filter((two) => !two.received && !two.refused && !(two.hold > Date.now())).slice(0, 100)) {
      ready.push(one);
      // the studio takes 1 MB at once
      if (JSON.stringify(ready).length > 2e5) break;
    }
    if (ready.length) {
      const answer = await call("actions", { version: 1, phone: kept.phone, clock: Date.now(), actions: ready.map((one) => ({ ...saying(one), action: one.action, entry: one.entry, number: one.number, made_at: one.made_at, person: one.person })) });
      clockOff = answer.clock_off_s;
      await settle(ready, (one) => {
        const wrong = answer.unread.find((two) => two.action === one.action);
        if (wrong) return { ...one, refused: [{ column: "", value: "", reason: wrong.what, mend: wrong.mend }] };
        return answer.received.includes(one.action) ? { ...one, received: true } : one;
      });
    }
    const waiting = queue.filter((one) => one.received && !one.refused);
    let done = [];
    if (waiting.length) {
      const answer = await call("outcomes", { actions: waiting.slice(0, 200).map((one) => one.action) });
      const outcome = Object.fromEntries(answer.outcomes.map((one) => [one.action, one]));
      done = waiting.filter((one) => outcome[one.action]?.outcome in { saved: 1, overtaken: 1 });
      for (const one of done) {
        const { outcome: became, remarks: told } = outcome[one.action];
        if (became === "overtaken" && !queue.some((two) => two.entry === one.entry && two.number > one.number)) remarks.set(one.entry, [{ reason: "it was said otherwise elsewhere, later", mend: "Correct it here if that is wrong." }]);
        else if (told.length) remarks.set(one.entry, told);
      }
      await settle(waiting.filter((one) => outcome[one.action]?.outcome === "refused"), (one) => ({ ...one, refused: outcome[one.action].faults }));
      // the studio may have gone back to a backup: what it does not hold any more is sent again
      await settle(waiting.filter((one) => answer.missing.includes(one.action)), (one) => ({ ...one, received: false }));
      trouble = answer.trouble ? `${answer.trouble.what}. ${answer.trouble.mend}` : "";
    } else trouble = "";
    if (done.length || !fresh) await refresh(done);
    pause = 0;
  } catch (error) {
    trouble = error.words || "The studio cannot be reached just now; what is saved here is sent once it can.";
    pause = Math.min(60000, pause ? pause * 2 : 3000);
  }
  sending = false;
  show();
  clearTimeout(timer);
  const next = queue.filter((one) => !one.refused).map((one) => (one.hold > Date.now() ? one.hold - Date.now() : pause || 1000));
  if (resend && !pause) { resend = false; send(); }
  else if (next.length || !fresh) timer = setTimeout(send, Math.max(50, Math.min(...next, pause || 60000)));
}
const remarks = new Map();
async function settle(some, become) {
  const by = new Map(some.map((one) => [one.action, become(one)]));
  queue = queue.map((one) => by.get(one.action) || one);
  if (store && by.size) await inStore((actions) => { for (const one of by.values()) actions.put(one); }).catch(notKept);
}
const asks = () => [kept.shared && "everyone=yes", kept.person && `person=${encodeURIComponent(kept.person)}`].filter(Boolean).join("&");
const askAnew = () => { fresh = false; send(); };
// Settled actions leave the phone only once the studio has told how the entries stand.
async function refresh(done = []) {
  const about = asks(), asking = Date.now();
  const told = await call(`bench?${about}`);
  // a late answer, about somebody else
  if (about !== asks()) return;
  // as the studio spells it
  kept.person = told.person || kept.person;
  kept.offset = told.clock - (asking + Date.now()) / 2;
  if (Math.abs(kept.offset) < 2000) kept.offset = 0;
  state = told;
  fresh = true;
  const settled = new Map();
  for (const one of done) settled.set(one.entry, Math.max(settled.get(one.entry) || 0, one.number));
  // a later word of this phone settles what was refused before
  const gone = queue.filter((one) => done.includes(one) || (one.refused && settled.get(one.entry) > one.number));
  queue = queue.filter((one) => !gone.includes(one));
  if (store) await inStore((actions, others) => { for (const one of gone) actions.delete(one.action); others.put(told, "state"); return counted(others); }).catch(notKept);
  changed();
}
async function call(path, body) {
  const patience = new AbortController();
  const limit = setTimeout(() => patience.abort(), PATIENCE_MS);
  try {
    const text = body && JSON.stringify(body);
    const answer = await fetch(API + path, body ? { method: "POST", body: text, headers: { "Content-Type": "application/json" }, keepalive: text.length < 60000, signal: patience.signal } : { signal: patience.signal });
    // sent away: the studio says so in place of the form; what is not sent stays on the phone
    if (answer.status === 401 && storing) location.reload();
    const said = await answer.json();
    if (!answer.ok) throw Object.assign(new Error(), { words: `${said.error.what}. ${said.error.mend}` });
    return said;
  } finally { clearTimeout(limit); }
}

// --- begin, finish, pause, switch

async function begin(row) {
  const mode = modeOf(row);
  const line = lineOf(row);
  const running = inHand().filter((one) => one.row.person === kept.person && modeOf(one.row) === "hands_on");
  const at = Date.now();
  const said = mode === "hands_on" ? running.map((one) => finished(one, at)) : [];
  said.push({ entry: uuid(), ...saying({ state: "running", row: { ...line, person: kept.person }, taps: { started_at: at } }) });
  kept.paused = kept.paused.filter((one) => JSON.stringify(lineOf(one)) !== JSON.stringify(line));
  const ended = said.length > 1 ? `; ${onWork(running[0].row)} finished` : "";
  await say(`Begun: ${onWork(line)} at ${wallOf(now()).slice(11)}${ended}.`, said);
  go("#bench");
  scrollTo(0, 0);
}
const finished = (one, at, more = {}) => ({ ...saying(one), entry: one.entry, state: "logged", row: { ...one.row, ended_at: "", ...more }, taps: { ...one.taps, ended_at: at } });
async function finish(one) {
  const at = Date.now();
  await say(`Finished: ${onWork(one.row)} at ${wallOf(now()).slice(11)}, ${longWords(now() - one.since)}.`, [finished(one, at)], { hold: HOLD_MS, person: kept.person || one.row.person });
  go(entryHash(one.entry));
}
async function rest(one) {
  kept.paused = [lineOf(one.row), ...kept.paused.filter((two) => JSON.stringify(two) !== JSON.stringify(lineOf(one.row)))].slice(0, 5);
  await keepMine();
  await say(`Paused: ${onWork(one.row)}, ${longWords(now() - one.since)} so far.`, [finished(one, Date.now())], { person: kept.person || one.row.person });
}
// On a tablet that several share, whoever begins says who it is, in one tap.
function whoever(act) {
  if (kept.person && !kept.shared) return act();
  asking = act;
  go("#who");
}
let asking = null;

// --- views

const entryHash = (entry) => `#entry=${encodeURIComponent(entry)}`;
const go = (hash) => { if (location.hash === hash) open(); else location.hash = hash; };
const cautionOf = (name) => {
  const carried = (technique(name)?.cautions || []).map((one) => state.cautions[one]);
  return carried.length ? el("p", { class: "soft" }, `Usual caution: ${carried.join(", ")}. ${state.caution}`) : null;
};
const lineWords = (one) => `${one.works?.map((two) => two.object).join(", ") || called(one.row.object)}: ${named(one.row)}`;
function stateOf(one) {
  if (one.refused) return el("small", { class: "wrong" }, `Refused: ${faultWords(one.refused)}`);
  if (one.here) return el("small", {}, "saved here");
  const remarked = remarks.get(one.entry.split("+share ")[0]);
  return remarked && el("small", {}, `saved in the studio; ${faultWords(remarked)}`);
}
const faultWords = (faults) => faults.map((one) => `${one.called ? `${one.called}${one.value ? ` “${/^\d.+Z$/.test(one.value) ? wallOf(Date.parse(one.value)) : one.value}”` : ""} ` : ""}${one.reason}. ${one.mend}`).join(" ");

function benchView() {
  const box = el("div");
  const search = el("input", { type: "search", id: "find", autocomplete: "off", placeholder: "code or title", oninput: () => update() });
  const update = () => {
    const running = inHand(), hidden = (state.in_hand || []).filter((one) => !one.entry).map((one) => one.object);
    const mendable = entries().filter((one) => one.refused);
    const cards = [
      running.length > 0 && el("section", {}, el("h2", {}, "In hand"), running.map(card)),
      kept.paused.length > 0 && el("section", {}, el("h2", {}, "Paused"), kept.paused.map((one) => el("div", { class: "row" }, button(`Go on: ${named(one)} on ${called(one.object)}`, () => whoever(() => begin(one))), button("Leave it", async () => { kept.paused = kept.paused.filter((two) => two !== one); await keepMine(); show(); }, { class: "plain", "aria-label": `Leave ${named(one)} on ${one.object}` })))),
      mendable.length > 0 && el("section", {}, el("h2", {}, "To be mended"), el("ul", { class: "list" }, mendable.map((one) => el("li", {}, button([`${lineWords(one)} `, stateOf(one)], () => go(entryHash(one.entry)), { class: "plain" }))))),
    ];
    const wanted = folded(search.value);
    const fits = state.works.filter((one) => !wanted || folded(`${one.object} ${one.title || ""}`).includes(wanted));
    const shown = fits.slice(0, wanted ? 30 : 40);
    replace(top, cards);
    replace(list, [
      el("ul", { class: "works" }, shown.map((one) => workRow(one, running, hidden)), !wanted && el("li", {}, button(el("span", {}, "Studio time", el("small", {}, "enquiries, accounts, supplies, teaching …")), () => go("#work="), { class: "work" }))),
      fits.length > shown.length && el("p", { class: "soft" }, `${fits.length - shown.length} more: search for them above.`),
      !fits.length && el("p", {}, wanted ? "No work on the bench is called so." : "No work is on the bench yet: add it under Works, on the studio's pages. Studio time can be logged."),
    ]);
  };
  const top = el("div"), list = el("div");
  box.append(top, el("section", {}, el("h2", { id: "works" }, "Works"), state.works.length > 8 && el("label", { for: "find" }, "Find a work"), state.works.length > 8 && search, list));
  return { title: "At the bench", box, update };
}
function card(one) {
  const waits = modeOf(one.row) === "unattended", whose = one.row.person !== kept.person ? `, ${one.row.person}` : "";
  const since = `${waits || modeOf(one.row) === "attended" ? `${named(one.row)}: on since` : `${named(one.row)} since`} ${clockWords(one.since)}${whose}`;
  const long = now() - one.since;
  const asks = !waits && long > state.ask_after_hours * 36e5 && !(kept.still[one.entry] > now());
  const about = onWork(one.row);
  return el("div", { class: asks ? "card asks" : "card" },
    el("p", {}, el("strong", {}, called(one.row.object)), el("br"), `${since}, began ${longWords(long)} ago.`), stateOf(one), cautionOf(one.row.technique),
    asks ? forgotten(one) : el("div", { class: "row" },
      button("Finish", () => finish(one), { class: "first", "aria-label": `Finish ${about}`, "data-k": `finish ${one.entry}` }),
      !waits && button("Pause", () => rest(one), { "aria-label": `Pause ${about}`, "data-k": `pause ${one.entry}` })));
}
// What is typed of the ends of spells: their cards are drawn anew as time goes by.
const ends = {};
// A spell that runs longer than the studio finds likely is asked about; its end is proposed, and nothing is filled in unasked.
function forgotten(one) {
  const usual = (technique(one.row.technique) || {}).usual_hours;
  const next = entries().filter((two) => two.entry !== one.entry && two.row.person === one.row.person && two.since > one.since).sort((a, b) => a.since - b.since)[0];
  const proposed = [];
  if (usual && one.since + usual * 36e5 < now()) proposed.push([one.since + Math.round(usual * 4) / 4 * 36e5, "as long as such a spell usually is here"]);
  if (next) proposed.push([next.since, `when you began ${named(next.row)}`]);
  const ended = (ms) => say(`Finished: ${onWork(one.row)} at ${clockWords(ms)}.`, [{ ...finished(one, 0), taps: one.taps.started_at != null ? { started_at: one.taps.started_at, ended_at: ms - kept.offset } : {}, row: { ...one.row, ended_at: instant(ms) } }], { person: kept.person || one.row.person });
  const said = ends[one.entry] ||= {};
  const time = el("input", { type: "time", id: `ended ${one.entry}`, "data-k": `time ${one.entry}`, oninput: () => { said.time = time.value; } });
  time.value = said.time || "";
  const wrong = el("p", { class: "wrong", role: "alert" }, said.wrong);
  const typed = () => {
    wrong.textContent = said.wrong = time.value ? "" : "Say at what time it ended.";
    if (said.wrong) return;
    const [day, from] = wallOf(one.since).split(" "), row = { ...one.row, started_at: one.row.started_at || instant(one.since), ended_at: `${time.value > from ? day : plusDays(day, 1)} ${time.value}` };
    say(`Finished: ${onWork(one.row)} at ${time.value}.`, [{ ...saying(one), entry: one.entry, state: "logged", row, taps: {} }], { person: kept.person || one.row.person });
  };
  return el("div", {}, el("p", {}, el("strong", {}, "Is it still in hand, or was the end forgotten?")),
    el("div", { class: "list" }, proposed.map(([ms, words]) => button([`It ended at ${clockWords(ms)}`, el("small", {}, words)], () => ended(ms)))),
    el("label", { for: time.id }, "It ended at"), time, wrong,
    el("div", { class: "row" }, button("Save this end", typed), button("Still in hand", async () => { kept.still[one.entry] = now() + state.ask_after_hours * 36e5; await keepMine(); show(); })));
}
function sentence(one, running, hidden) {
  const here = running.filter((two) => two.row.object === one.object).map((two) => `${named(two.row)} ${modeOf(two.row) === "hands_on" ? "" : "on "}since ${clockWords(two.since)}`);
  if (hidden.includes(one.object)) here.push("somebody is at it");
  const last = (one.lines || []).find((two) => two.last_day);
  return here.length ? here.join("; ") : last ? `last: ${named(last)}, ${dayWords(last.last_day)}` : "nothing logged yet";
}
function workRow(one, running, hidden) {
  const first = (one.lines || [])[0];
  const at = first && running.some((two) => two.row.object === one.object && two.row.technique === first.technique && (two.row.part || "") === (first.part || ""));
  return el("li", {}, button([el("span", {}, called(one.object)), el("small", {}, sentence(one, running, hidden))], () => go(`#work=${encodeURIComponent(one.object)}`), { class: "work", "data-k": `work ${one.object}` }),
    first && !at && button([el("small", {}, "begin"), named(first)], () => whoever(() => begin({ ...first, object: one.object })), { class: "again", "aria-label": `Begin ${named(first)} on ${one.object}`, "data-k": `begin ${one.object}` }));
}
function workView(code) {
  const one = code ? work(code) : { object: "", lines: [] };
  if (!one) return { title: code, box: el("p", {}, "This work is not on the bench.") };
  const studio = new Set(state.phases.filter((two) => two.studio_time).map((two) => two.phase));
  const choose = (line) => whoever(() => begin({ ...line, object: code }));
  const list = el("ul", { class: "list" });
  const search = el("input", { type: "search", id: "technique", autocomplete: "off", oninput: () => update() });
  const known = () => state.techniques.filter((two) => studio.has(two.phase) !== !!code);
  const update = () => {
    const wanted = folded(search.value);
    const lines = (one.lines || []).filter((two) => !wanted || folded(named(two)).includes(wanted));
    // what begins so stands first
    const first = (two) => !folded(two.technique).startsWith(wanted);
    const rest = known().filter((two) => !lines.some((line) => line.technique === two.technique && !line.part) && (wanted ? folded([two.technique, ...(two.aliases || [])].join(" ")).includes(wanted) : !code || !lines.length)).sort((a, b) => first(a) - first(b));
    replace(list, [
      ...lines.map((two) => el("li", {}, button([named(two), el("small", {}, two.last_day ? `last ${dayWords(two.last_day)}` : "in the estimate, not begun")], () => choose(two)))),
      ...rest.slice(0, 12).map((two) => el("li", {}, button([two.technique, el("small", {}, two.mode === "unattended" ? "waiting by itself: not hours" : two.phase)], () => choose({ technique: two.technique, phase: two.phase })))),
      wanted && !lines.length && !rest.length && el("li", {}, "No technique is called so. Add it under Studio, on the studio's pages."),
    ]);
  };
  update();
  return { title: called(code), box: el("div", {}, el("p", {}, "Begin now with:"), el("label", { for: "technique" }, "Find a technique"), search, list) };
}
function whoView() {
  if (device.alone) return { title: "Who is logging?", box: el("p", {}, `This device logs for ${device.person}. `, el("a", { href: "/pair" }, "Pair it anew, or leave"), " ", el("a", { href: "/pauses" }, "Pauses")) };
  const name = el("input", { id: "name", autocomplete: "name", maxlength: 100 }), wrong = el("p", { class: "wrong", role: "alert" });
  const chosen = async (person) => {
    if (!folded(person)) { wrong.textContent = "Say who you are: a name above, or your own."; name.focus(); return; }
    const act = asking;
    asking = null;
    person = state.people.find((one) => folded(one) === folded(person)) || person.trim();
    const changes = person !== kept.person;
    kept.person = person;
    await keepMine();
    if (changes) { state = { ...state, person: "", entries: [], to_mend: [] }; askAnew(); }
    if (act) act();
    else go("#bench");
  };
  const shared = el("input", { type: "checkbox", id: "shared", checked: kept.shared, onchange: async () => { kept.shared = shared.checked; await keepMine(); askAnew(); } });
  return {
    title: "Who is logging?",
    box: el("div", {}, el("ul", { class: "list" }, state.people.map((one) => el("li", {}, button(one, () => chosen(one))))),
      el("label", { for: "name" }, state.people.length ? "Somebody new" : "Your name, as it should stand in the record"), name, wrong,
      el("div", { class: "row" }, button("This is me", () => chosen(name.value), { class: "first" })),
      !device.shared && el("label", { class: "tick" }, shared, "Several people use this device: ask at each beginning, and show codes without titles")),
  };
}

// --- the day sheet

function dayView(day) {
  const list = el("ol", { class: "sheet" }), total = el("p", { class: "total" }), chips = el("div", { class: "chips" }), hint = el("p", { class: "soft" }, "As the bench and the last days suggest:");
  const label = el("h2"), later = button("Day after ›", () => go(`#day=${plusDays(day, 1)}`)), earlier = button("‹ Day before", () => go(`#day=${plusDays(day, -1)}`));
  const quick = quickForm(day);
  const update = () => {
    label.textContent = dayWords(day);
    later.hidden = day >= today();
    earlier.hidden = day <= plusDays(today(), -7);
    const all = entries().filter((one) => one.day === day && mine(one) && one.state !== "struck").sort((a, b) => (a.from || "~") < (b.from || "~") ? -1 : 1);
    const lines = [];
    let until = "";
    for (const one of all) {
      const bench = modeOf(one.row) !== "unattended";
      if (bench && until && one.from > until) lines.push(gap(day, until, one.from));
      lines.push(sheetLine(one));
      if (bench && one.to > until) until = one.to;
    }
    replace(list, lines);
    const logged = all.filter((one) => one.state === "logged"), known = logged.filter((one) => !one.refused && one.hours != null), unread = logged.length - known.length;
    const counted = known.filter((one) => modeOf(one.row) !== "unattended"), sum = countedOnce(counted);
    total.textContent = all.length ? `${sum ? `${longWords(sum * 36e5)} said for this day` : "No hours said for this day"}${unread ? `; ${plural(unread, "line is", "lines are")} not in it yet` : ""}.` : "Nothing is said for this day yet.";
    const ideas = suggestions(day, all);
    hint.hidden = !ideas.length;
    replace(chips, ideas.map((row) => button(`${row.object || "studio time"} ${named(row)}`, () => quick.fill(row))));
  };
  update();
  return {
    title: "My day", update,
    box: el("div", {}, label, el("div", { class: "row" }, earlier, later), list, total, el("h3", {}, "Add a line"), hint, chips, quick.box),
  };
}
// Hours of a person count once: of time waited beside a work, only what no other spell of hers covers.
function countedOnce(all) {
  const beside = (one) => modeOf(one.row) === "attended", covered = [];
  return [...all].sort((a, b) => beside(a) - beside(b)).reduce((sum, one) => {
    if (!one.from || !one.to) return sum + one.hours;
    let free = [[onClock(one.from), onClock(one.to)]];
    for (const two of covered) if (beside(one) && two.person === one.row.person) free = free.flatMap(([a, b]) => [[a, Math.min(b, two.from)], [Math.max(a, two.to), b]].filter(([a, b]) => b > a));
    covered.push({ person: one.row.person, from: onClock(one.from), to: onClock(one.to) });
    return sum + Math.max(0, one.hours - (onClock(one.to) - onClock(one.from)) + free.reduce((so, [a, b]) => so + b - a, 0));
  }, 0);
}
function sheetLine(one) {
  const long = one.state === "running" ? "in hand" : one.hours != null ? spent(one.hours) : hoursTyped(one.row.hours || "");
  return el("li", {}, button([el("span", { class: "when" }, one.from ? `${one.from.slice(11, 16)}–${one.to ? one.to.slice(11, 16) : ""}` : ""), el("span", { class: "what" }, lineWords(one), modeOf(one.row) === "unattended" && " (waiting)", " ", stateOf(one)), el("span", { class: "long" }, long)], () => go(entryHash(one.entry)), { "data-k": `line ${one.entry}` }));
}
function gap(day, from, to) {
  const minutes = (onClock(to) - onClock(from)) * 60;
  return minutes < 10 ? null : el("li", { class: "gap" }, button([el("span", { class: "when" }, `${from.slice(11)}–${to.slice(11)}`), el("span", { class: "what" }, `nothing said for ${longWords(minutes * 6e4)}; say what it was`)], () => { drafts.new = { from: from.slice(11), to: to.slice(11), day }; keepDraft("new"); go(`#new=${day}`); }));
}
// What this day may hold: what was at the bench, what was done the day before, what is estimated and not begun on the works last in hand.
function suggestions(day, all) {
  const lines = [...inHand().filter(mine), ...all.filter((one) => !one.refused), ...entries().filter((one) => mine(one) && one.state === "logged" && one.day < day).sort((a, b) => (a.day < b.day ? 1 : -1))].map((one) => lineOf(one.row));
  for (const one of state.works.slice(0, 3)) for (const two of (one.lines || []).slice(0, 4)) lines.push(lineOf({ ...two, object: one.object }));
  const seen = new Map(lines.filter((one) => one.technique).map((one) => [`${one.object}|${one.technique}|${one.part}`, one]));
  return [...seen.values()].slice(0, 6);
}
function quickForm(day) {
  const draft = drafts[`day ${day}`] || {};
  let filled = draft.row || null;
  const about = pick("Work", "quick work", worksByName, draft.object || "", "its code, or empty for studio time");
  const what = pick("Technique", "quick technique", techniquesByName, draft.technique || "");
  const hours = el("input", { id: "quick hours", autocomplete: "off", value: draft.hours || "", placeholder: "1½, 1.5, 1:30 or 1h30", enterkeyhint: "done" });
  const wrong = el("p", { class: "wrong", role: "alert" });
  const doubted = doubting(wrong, "Add");
  let added = 0;
  const remember = () => { drafts[`day ${day}`] = { object: about.value(), technique: what.value(), hours: hours.value, row: filled }; keepDraft(`day ${day}`); };
  const add = once(() => {
    // the second of two taps
    if (Date.now() - added < 1000 && !what.value()) return;
    if (!what.value() || !hours.value.trim()) { wrong.textContent = what.value() ? "Write how many hours." : "Say which technique."; (what.value() ? hours : what.input).focus(); return; }
    if (doubted(about.value(), what.value(), hours.value.trim())) return;
    const same = filled && filled.technique === what.value() && filled.object === about.value() ? filled : {};
    const row = { ...lineOf({ ...same, object: about.value(), technique: what.value() }), person: kept.person, date: day, hours: hours.value.trim() };
    const done = async () => {
      row.person = kept.person;
      delete drafts[`day ${day}`];
      about.set(""); what.set(""); hours.value = ""; filled = null; wrong.textContent = ""; added = Date.now();
      await say(`Added: ${onWork(row)}, ${hoursTyped(row.hours)}.`, [{ entry: uuid(), ...saying({ state: "logged", row }) }]);
      // only now: what was written is on the phone as an entry
      await keepDraft(`day ${day}`);
      if (!location.hash.startsWith("#day")) go(`#day=${day}`);
    };
    return kept.person ? done() : whoever(done);
  });
  const box = el("form", { onsubmit: add, oninput: remember, novalidate: true }, about.box, what.box, el("label", { for: "quick hours" }, "Hours"), hours, wrong,
    el("div", { class: "row" }, el("button", { class: "first" }, "Add"), button("With times and more …", () => { drafts.new = { object: about.value(), technique: what.value(), hours: hours.value, day }; keepDraft("new"); go(`#new=${day}`); })));
  return { box, fill(row) { filled = row; about.set(row.object); what.set(row.technique); remember(); hours.focus(); } };
}
// A field for a word that is known: a few that fit are offered below as buttons; what is typed is understood by the studio as in any file.
const worksByName = () => state.works.map((one) => [one.object, called(one.object), (!kept.shared && one.title) || one.object]);
const techniquesByName = () => state.techniques.map((one) => [one.technique, one.technique, ...(one.aliases || [])]);
// What will hardly be understood is asked about before anything is sent; said again as it is, it goes: the studio may know more than this phone.
function doubting(wrong, act) {
  let asked = "";
  return (object, name, hours, ...numbers) => {
    const unclear = [hours, ...numbers].find((text) => /^[1-9]\d?\d?[.,]\d{3}$/.test(text));
    const about = unclear ? `“${unclear}” may be ${unclear.replace(/\D/, "")} or ${unclear}0` : !technique(name) ? `No technique is called “${name}” here` : object && !work(object) ? `No work “${object}” is on the bench`
      : hours && (!/[\d¼½¾]/.test(hours) || /[;!?=]/.test(hours) || hours.replace(",", ".") > 16) ? `“${hours}” does not look like the hours of a day` : "";
    wrong.textContent = about && about !== asked ? `${about}. Mend it, or tap ${act} again to send it so.` : "";
    asked = about;
    return wrong.textContent;
  };
}
function pick(label, id, options, value, hint) {
  const list = el("ul", { class: "choices" });
  const input = el("input", { id, value, autocomplete: "off", "aria-describedby": hint ? `${id} hint` : null, oninput: () => offer() });
  const offer = () => {
    const wanted = folded(input.value);
    const exact = options().some(([known]) => folded(known) === wanted);
    const first = (words) => !words.some((word) => folded(word).startsWith(wanted));
    const found = wanted && !exact ? options().filter((words) => words.some((word) => folded(word).includes(wanted))).sort((a, b) => first(a) - first(b)).slice(0, 6) : [];
    replace(list, found.map(([known, shown]) => el("li", {}, button(shown, () => { input.value = known; replace(list, []); input.dispatchEvent(new Event("input", { bubbles: true })); input.focus(); }))));
  };
  const exactly = () => {
    const wanted = folded(input.value);
    const found = options().filter((words) => words.some((word) => folded(word) === wanted));
    return wanted && found.length === 1 ? found[0][0] : input.value.trim();
  };
  return { box: el("div", {}, el("label", { for: id }, label), hint && el("small", { id: `${id} hint` }, hint), input, list), input, value: exactly, set(text) { input.value = text || ""; replace(list, []); } };
}

// --- one entry: what is still to be said of a spell just finished, a correction, or a new line with times

function entryView(entry, day) {
  const one = entry ? find(entry) : null;
  if (entry && !one) return { title: "Entry", box: el("p", {}, "Struck out, or older than a week: see One work.") };
  if (one && one.state === "running") return { title: called(one.row.object), box: el("div", {}, card(one), el("div", { class: "row" }, button("Strike it out: it was not begun", () => strike(one)))) };
  const key = entry || "new", draft = drafts[key] || {}, row = one ? one.row : {};
  const justFinished = one && one.hold > 0;
  const was = (name, otherwise) => (draft[name] !== undefined ? draft[name] : otherwise);
  const spoken = { 25: "¼", 50: "½", 75: "¾", 100: "done" };
  const over = one?.works || [];
  const about = pick("Work", "work", worksByName, was("object", row.object || over[0]?.object || ""), "its code, or empty for studio time");
  const what = pick("Technique", "technique", techniquesByName, was("technique", row.technique || ""));
  const fields = [];
  const field = (name, { value = "", ...about }) => { const input = el("input", { id: name, name, autocomplete: "off", ...about, value: was(name, value) }); fields.push([input, value]); return input; };
  const date = field("day", { type: "date", value: one ? one.day : day, max: today() });
  const from = field("from", { type: "time", value: one && one.from ? one.from.slice(11, 16) : "" }), to = field("to", { type: "time", value: one && one.to ? one.to.slice(11, 16) : "" });
  const hours = field("hours", { value: one && !one.from ? row.hours || "" : "", placeholder: "1.5, 1:30 or 1h30, where there are no times" });
  const part = field("part", { value: row.part || "" });
  const quantity = field("quantity", { value: row.quantity || "", inputmode: "decimal" });
  const note = el("textarea", { id: "note", name: "note" }, was("note", row.note || ""));
  const choice = (name, legend, options, value) => el("fieldset", {}, el("legend", {}, legend), el("div", { class: "choices" }, options.map(([known, words]) => el("label", {}, el("input", { type: "radio", name, value: known, checked: was(name, value) === known }), words))));
  const found = el("input", { type: "checkbox", name: "discovery", checked: was("discovery", row.discovery === "yes") });
  const unit = (technique(row.technique) || {}).unit;
  const shares = { ...Object.fromEntries(over.map((two) => [two.object, two.share || "1"])), ...draft.shares };
  const own = el("div"), others = was("also", over.slice(1).map((two) => two.object));
  const choices = [...new Set([...others, ...state.works.slice(0, 40).map((two) => two.object)])].filter((code) => code !== about.value());
  const also = el("details", { hidden: !choices.length, open: others.length > 0 }, el("summary", {}, "One spell over several works"),
    el("p", { class: "soft" }, "Choose the other works it went to. How far and how much is said of each work later."),
    choice("split", "Shared out", [["equally", "equally"], ["by area", "by area"], ["own shares", "by shares of my own"]], (one && one.split) || "equally"),
    el("div", { class: "choices" }, choices.map((code) => el("label", {}, el("input", { type: "checkbox", name: "also", value: code, checked: others.includes(code) }), code))), own);
  const wrong = el("p", { class: "wrong", role: "alert" });
  const ticked = () => [...also.querySelectorAll("input[name=also]:checked")].map((tick) => tick.value);
  const form = el("form", { novalidate: true });
  const chosen = (name) => (form.querySelector(`input[name="${name}"]:checked`) || {}).value || "";
  let shared = "";
  const share = () => {
    const codes = ticked(), wants = chosen("split") === "own shares" && codes.length;
    const all = wants ? [...new Set([about.value() || codes[0], ...codes])] : [];
    if (`${all}` === shared) return;
    shared = `${all}`;
    replace(own, all.map((code, i) => {
      const box = el("input", { id: `share ${i}`, inputmode: "decimal", value: shares[code] ?? "1", oninput: () => { shares[code] = box.value; } });
      return el("div", {}, el("label", { for: box.id }, `Share of ${code}`), box);
    }));
  };
  const remember = () => {
    share();
    drafts[key] = { object: about.value(), technique: what.value(), ...Object.fromEntries(fields.filter(([input, value]) => input.value !== value).map(([input]) => [input.name, input.value])), note: note.value, done: chosen("done"), charge: chosen("charge"), mode: chosen("mode"), split: chosen("split"), discovery: found.checked, also: ticked(), shares };
    keepDraft(key);
  };
  const leave = async () => { delete drafts[key]; await keepDraft(key); };
  const back = () => { go(justFinished ? "#bench" : `#day=${date.value || day || today()}`); };
  const times = el("div", {}, el("label", { for: "day" }, "Day"), date, el("div", { class: "pair" }, el("div", {}, el("label", { for: "from" }, "From"), from), el("div", {}, el("label", { for: "to" }, "To"), to)), el("label", { for: "hours" }, "Hours"), hours);
  const line = [about.box, what.box, times, choice("mode", "Kind of time", [["", "as usual"], ["hands_on", "hands on"], ["attended", "waiting beside it"], ["unattended", "waits by itself"]], row.mode && row.mode !== (technique(row.technique) || {}).mode ? row.mode : "")];
  const details = [
    choice("done", "How far is the line?", [["", "not said"], ["25", "¼"], ["50", "½"], ["75", "¾"], ["100", "done"]], row.done || ""),
    row.done && !spoken[row.done] ? el("p", { class: "soft" }, `${row.done} % stays unless another is chosen.`) : null,
    el("label", { for: "quantity" }, `How much was treated${unit ? `, ${unit === "dm2" ? "dm²" : unit === "pcs" ? "pieces" : unit}` : ""}`), quantity,
    el("label", { for: "note" }, "Note"), note,
    el("label", { class: "tick" }, found, "Nobody foresaw this"),
    choice("charge", "Charge", [["quoted", "quoted"], ["extra", "extra, agreed"], ["own_cost", "own cost"]], row.charge || "quoted"),
    el("label", { for: "part" }, "Part of the work, if not the whole (frame, reverse, second tear)"), part, also,
  ];
  const name = entry || uuid();
  const doubted = doubting(wrong, "Save");
  const save = once(() => {
    const bad = (words, input) => { wrong.textContent = words; input.focus(); };
    if (!what.value()) return bad("Say which technique.", what.input);
    if (!from.value !== !to.value) return bad(from.value ? "Say when it ended, or leave the beginning empty." : "Say when it began, or leave the end empty.", from.value ? to : from);
    if (!from.value && !hours.value.trim()) return bad("Write how many hours, or from when to when.", hours);
    if (doubted(about.value(), what.value(), from.value ? "" : hours.value.trim(), quantity.value, ...Object.values(shares))) return;
    const said = { ...lineOf({ object: about.value(), technique: what.value(), part: part.value.trim() }), person: row.person || kept.person, charge: chosen("charge"), quantity: quantity.value.trim(), unit: quantity.value.trim() && row.unit && row.technique === what.value() ? row.unit : "", done: chosen("done") || (row.done && !spoken[row.done] ? row.done : ""), note: note.value.trim(), discovery: found.checked ? "yes" : row.discovery === "yes" ? "no" : row.discovery || "", mode: chosen("mode") };
    if (row.technique === what.value() && row.phase) said.phase = row.phase;
    let taps = {};
    if (from.value) {
      const same = one && one.from === `${date.value} ${from.value}` && one.to.slice(11, 16) === to.value;
      const ends = `${to.value > from.value ? date.value : plusDays(date.value, 1)} ${to.value}`, long = onClock(ends) - onClock(`${date.value} ${from.value}`);
      if (!same && to.value <= from.value && long > 12 && modeOf({ technique: what.value(), mode: said.mode }) !== "unattended") return bad(`From ${from.value} to ${to.value} would be ${spent(long)}, into the next day: see the times.`, from);
      if (same) { taps = one.taps || {}; for (const name of ["started_at", "ended_at"]) if (taps[name] == null && one.row[name]) said[name] = one.row[name]; }
      else Object.assign(said, { started_at: `${date.value} ${from.value}`, ended_at: ends });
    } else Object.assign(said, { date: date.value, hours: hours.value.trim() });
    const codes = ticked();
    const all = [...new Set([about.value() || codes[0], ...codes])], works = all.length > 1 ? all.map((code) => ({ object: code, share: chosen("split") === "own shares" ? shares[code] ?? "1" : "" })) : [];
    if (codes.length) said.object = works.length ? "" : all[0];
    const act = async () => {
      said.person = said.person || kept.person;
      delete drafts[key];
      await say(`${one ? "Saved" : "Added"}: ${onWork(said, works)}.`, [{ entry: name, state: "logged", row: said, taps, works, split: chosen("split") }]);
      await keepDraft(key);
      go(justFinished ? "#bench" : `#day=${date.value || today()}`);
    };
    return said.person ? act() : whoever(act);
  });
  const buttons = el("div", { class: "row keep" }, el("button", { class: "first" }, "Save"), button(justFinished ? "Skip" : "Back", () => leave().then(back)), one && button("Strike it out", () => strike(one).then(leave)));
  const sheet = justFinished
    ? [cautionOf(row.technique), ...details, wrong, buttons, el("details", { open: !!one.refused }, el("summary", {}, "Change work, technique or times"), line)]
    : [...line, el("details", { open: !one || !!(one.refused || over.length || row.done || row.quantity || row.note || row.part || (row.charge || "quoted") !== "quoted") }, el("summary", {}, "How far, how much, note and more"), details), wrong, buttons];
  form.append(...sheet.filter(Boolean));
  form.addEventListener("submit", save);
  form.addEventListener("input", remember);
  share();
  const again = "note" in draft ? el("p", { class: "soft" }, "What you wrote and did not save is here again.") : null;
  return { title: justFinished ? `${named(row)}, ${spent(one.hours || 0)}` : one ? "Correct an entry" : "A new line", box: el("div", {}, justFinished && el("p", {}, `${called(row.object)}. The time is saved; all below may stay empty.`), one && one.refused && el("p", { class: "wrong", role: "alert" }, stateOf(one)), again, form) };
}
async function strike(one) {
  await say(`Struck out: ${onWork(one.row, one.works)}.`, [{ ...saying(one), entry: one.entry, state: "struck" }]);
  go(one.state === "running" ? "#bench" : `#day=${one.day}`);
}
// A spell just finished waits for what is still to be said of it only while that is being written.
function release(but) {
  const held = queue.filter((one) => one.hold && one.entry !== but);
  if (held.length) settle(held, (one) => ({ ...one, hold: 0 })).then(send);
}

// --- what is shown

function replace(box, children) {
  const held = document.activeElement && box.contains(document.activeElement) ? document.activeElement.dataset.k : null;
  const made = el("div", {}, children);
  if (made.innerHTML === box.innerHTML) return;
  box.replaceChildren(...made.childNodes);
  if (held) { const again = [...box.querySelectorAll("[data-k]")].find((one) => one.dataset.k === held); if (again) again.focus(); }
}
function tell() {
  const here = queue.filter((one) => !one.received && !one.refused).length, settling = queue.filter((one) => one.received && !one.refused).length;
  const refused = entries().filter((one) => one.refused).length;
  const said = [];
  if (here) said.push(el("span", {}, `${plural(here, "thing is", "things are")} saved here, not in the studio yet. `));
  else if (settling) said.push(el("span", {}, `${plural(settling, "thing has", "things have")} arrived in the studio and ${settling === 1 ? "is" : "are"} being checked. `));
  else if (fresh && !trouble) said.push(el("span", {}, `All ${refused ? "else " : ""}is saved in the studio. `));
  if (refused) said.unshift(el("a", { href: "#bench", class: "wrong" }, `${plural(refused, "entry was", "entries were")} refused: to be mended. `));
  const half = Object.keys(drafts).find((key) => find(key) && location.hash !== entryHash(key));
  if (state.held_back) said.push(el("span", {}, `Changes waiting for the principal: ${state.held_back}. `));
  if (half) said.push(el("a", { href: entryHash(half) }, "What you wrote of an entry is not saved yet. "));
  if (trouble) said.push(el("span", {}, `${trouble.charAt(0).toUpperCase()}${trouble.slice(1)} `));
  if (Math.abs(clockOff) > 120) said.push(el("span", {}, `This phone's clock is ${longWords(Math.abs(clockOff) * 1000)} ${clockOff > 0 ? "slow" : "fast"}; times are put right. `));
  if (!storing) said.push(el("span", { class: "wrong" }, "This browser keeps nothing (private window, or full): leave it open until all is in the studio. "));
  replace(byId("told"), said);
  replace(byId("just"), gesture ? [el("div", {}, el("span", {}, gesture.words), gesture.undo && button("Undo", undo, { class: "plain", "data-k": "undo" }), button("Close", () => { gesture = null; tell(); }, { class: "plain", "data-k": "close" }))] : []);
  byId("who").textContent = kept.person ? (kept.shared ? "Shared tablet" : kept.person) : "Who?";
  byId("who").setAttribute("aria-label", kept.person && !kept.shared ? `${kept.person} is logging; change` : "Say who is logging");
}
function show() {
  tell();
  if (view && view.update) view.update();
}
function open() {
  const [name, ...rest] = location.hash.slice(1).split("=");
  const about = decodeURIComponent(rest.join("="));
  if (!kept.person && !asking && name !== "who" && name !== "work" && store !== undefined && !kept.shared) { go("#who"); return; }
  release(name === "entry" ? about : "");
  view = name === "work" ? workView(about) : name === "day" ? dayView(about || today()) : name === "entry" ? entryView(about) : name === "new" ? entryView("", about || today()) : name === "who" ? whoView() : benchView();
  byId("title").textContent = view.title;
  document.title = `${view.title} – bench-hours`;
  byId("view").replaceChildren(view.box);
  for (const one of document.querySelectorAll("nav a")) {
    if (one.hash === (name === "day" || name === "new" ? "#day" : name === "bench" || !name ? "#bench" : "-")) one.setAttribute("aria-current", "page");
    else one.removeAttribute("aria-current");
  }
  show();
}
async function start() {
  store = await opened();
  storing = !!store;
  await recall().catch(notKept);
  if (device.alone || (device.person && !kept.person)) {
    // of whose days this phone knew before, nothing stays
    if (kept.person !== device.person) state = { ...state, entries: [], to_mend: [] };
    Object.assign(kept, { person: device.person, shared: false });
  }
  if (device.shared) kept.shared = true;
  if (!kept.phone) { kept.phone = uuid(); await keepMine(); }
  open();
  document.documentElement.dataset.ready = "yes";
  send();
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/log/worker.js", { scope: "/log" }).catch(() => {});
}
addEventListener("hashchange", () => { open(); byId("title").focus(); scrollTo(0, 0); });
addEventListener("online", () => { pause = 0; send(); });
document.addEventListener("visibilitychange", () => {
  if (document.hidden) { for (const one of queue) one.hold = 0; send(); }
  else askAnew();
});
setInterval(show, 30000);
setInterval(() => document.hidden || askAnew(), 60000);
start();

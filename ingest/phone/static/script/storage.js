// What is stored on the phone, in IndexedDB: actions not yet settled, drafts, the last state.

let store = null;
const resultOf = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
function openDatabase() {
  return new Promise((resolve) => {
    try {
      const request = indexedDB.open("bench-hours", 1);
      request.onupgradeneeded = () => {
        request.result.createObjectStore("actions", { keyPath: "action" });
        request.result.createObjectStore("kept");
      };
      request.onsuccess = () => resolve(request.result);
      request.onerror = request.onblocked = () => resolve(null);
    } catch {
      resolve(null);
    }
  });
}
// One transaction over both stores; done once the phone says that it is on its disk.
function inTransaction(work) {
  return new Promise((resolve, reject) => {
    const change = store.transaction(["actions", "kept"], "readwrite", { durability: "strict" });
    let found;
    change.oncomplete = () => resolve(found);
    change.onabort = change.onerror = () => reject(change.error);
    Promise.resolve(work(change.objectStore("actions"), change.objectStore("kept"))).then(
      (value) => {
        found = value;
      },
      () => change.abort(),
    );
  });
}
// Another tab may have counted on meanwhile: the count of actions never falls.
const latest = (there = {}) => ({
  number: Math.max(kept.number, there.number || 0),
  last: Math.max(kept.last, there.last || 0),
});
async function storeCounts(others) {
  Object.assign(kept, latest(await resultOf(others.get("kept"))));
  others.put(kept, "kept");
}
async function storeSelf() {
  if (store) await inTransaction((_, others) => storeCounts(others)).catch(unstored);
}
async function storeDraft(name) {
  if (store)
    await inTransaction((_, others) => {
      if (drafts[name]) others.put(drafts[name], `draft ${name}`);
      else others.delete(`draft ${name}`);
    }).catch(unstored);
}
function unstored() {
  storing = false;
  showStatus();
}
async function loadStored() {
  if (!store) return;
  const [actions, names, values] = await inTransaction((actions, others) =>
    Promise.all([actions.getAll(), others.getAllKeys(), others.getAll()].map(resultOf)),
  );
  const held = Object.fromEntries(names.map((name, i) => [name, values[i]])),
    last = held.state;
  queue = [
    ...actions,
    ...queue.filter((one) => one.unkept && !actions.some((two) => two.action === one.action)),
  ].sort((a, b) => a.number - b.number);
  kept = { ...kept, ...held.kept, ...latest(held.kept) };
  drafts = Object.fromEntries(
    names.filter((name) => name.startsWith("draft ")).map((name) => [name.slice(6), held[name]]),
  );
  if (last && last.clock > state.clock) state = { ...last };
  else if (last && last.person === kept.person)
    state = {
      ...state,
      person: last.person,
      entries: last.entries,
      to_mend: last.to_mend,
      in_hand: union(state.in_hand, last.in_hand),
    };
}
// The page as it was sent does not know whose it is: what this phone knew of its own spells stays until the
// studio tells.
function union(told, known) {
  const names = new Set(told.map((one) => one.entry));
  return [...told, ...(known || []).filter((one) => one.entry && !names.has(one.entry))];
}
const other = typeof BroadcastChannel === "function" ? new BroadcastChannel("bench-hours") : null;
if (other) other.onmessage = () => loadStored().then(show);
const announce = () => other && other.postMessage("changed");

// Shows what the form has not sent yet, which stays on the phone, and deletes what the studio had told it.
"use strict";
const kept = document.getElementById("kept");
const request = indexedDB.open("bench-hours");
request.onupgradeneeded = () => request.transaction.abort();
request.onerror = () => {};
request.onsuccess = () => {
  const change = request.result.transaction(["actions", "kept"], "readwrite");
  const all = change.objectStore("actions").getAll();
  change.objectStore("kept").delete("state");
  all.onsuccess = () => {
    const mine = all.result.filter((action) => !action.received);
    if (!mine.length) return;
    const words = document.createElement("p");
    const [things, stays, are] = mine.length === 1
      ? ["thing that is", "stays", "it is"] : ["things that are", "stay", "they are"];
    words.textContent = `${mine.length} ${things} not in the studio yet ${stays} on this device. `
      + `Once it is paired again for the same person, ${are} sent. Do not empty this browser before.`;
    const list = document.createElement("ul");
    for (const action of mine.slice(0, 100)) {
      const row = action.row || {}, line = document.createElement("li");
      const tap = (name) => {
        const at = (action.taps && action.taps[name]) || (/Z$/.test(row[name] || "") && Date.parse(row[name]));
        const format = { day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" };
        return at ? new Date(at).toLocaleString("en-GB", format) : row[name] || "";
      };
      line.textContent = [
        row.object || (action.works || []).map((work) => work.object).join(", ") || "studio time",
        // of what was undone at once nothing more is known
        row.person && (row.technique || `${row.phase || "the work"} as a whole`),
        action.state === "struck" ? "struck out" : "",
        tap("started_at") && `from ${tap("started_at")}`, tap("ended_at") && `to ${tap("ended_at")}`,
        row.date, row.hours && `${row.hours} h`, row.note,
      ].filter(Boolean).join(", ");
      list.append(line);
    }
    kept.replaceChildren(words, list);
  };
};
if ("caches" in window) caches.delete("bench-hours-form");

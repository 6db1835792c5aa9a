// What is shown: status line, views by address, start.

function replace(box, children) {
  const held =
    document.activeElement && box.contains(document.activeElement) ? document.activeElement.dataset.k : null;
  const made = el("div", {}, children);
  if (made.innerHTML === box.innerHTML) return;
  box.replaceChildren(...made.childNodes);
  if (held) {
    const again = [...box.querySelectorAll("[data-k]")].find((one) => one.dataset.k === held);
    if (again) again.focus();
  }
}
function showStatus() {
  const here = queue.filter((one) => !one.received && !one.refused).length,
    settling = queue.filter((one) => one.received && !one.refused).length;
  const refused = entries().filter((one) => one.refused).length;
  const said = [];
  if (here)
    said.push(
      el("span", {}, `${plural(here, "thing is", "things are")} saved here, not in the studio yet. `),
    );
  else if (settling)
    said.push(
      el("span", {}, `${plural(settling, "thing is", "things are")} in the studio and being checked. `),
    );
  else if (fresh && !trouble)
    said.push(el("span", {}, `All ${refused ? "else " : ""}is saved in the studio. `));
  if (refused)
    said.unshift(
      el(
        "a",
        { href: "#bench", class: "wrong" },
        `${plural(refused, "entry was", "entries were")} refused: to be mended. `,
      ),
    );
  const half = Object.keys(drafts).find((key) => findEntry(key) && location.hash !== entryHash(key));
  if (state.held_back) said.push(el("span", {}, `Changes waiting for the principal: ${state.held_back}. `));
  if (half) said.push(el("a", { href: entryHash(half) }, "What you wrote of an entry is not saved yet. "));
  if (trouble) said.push(el("span", {}, `${trouble.charAt(0).toUpperCase()}${trouble.slice(1)} `));
  if (Math.abs(clockOff) > 120)
    said.push(
      el(
        "span",
        {},
        `This phone's clock is ${longWords(Math.abs(clockOff) * 1000)} ${clockOff > 0 ? "slow" : "fast"}; times are put right. `,
      ),
    );
  if (!storing)
    said.push(
      el(
        "span",
        { class: "wrong" },
        "This browser keeps nothing (private window, or full): leave it open until all is in the studio. ",
      ),
    );
  replace(byId("told"), said);
  replace(
    byId("just"),
    gesture
      ? [
          el(
            "div",
            {},
            el("span", {}, gesture.words),
            gesture.undo && button("Undo", undo, { class: "plain", "data-k": "undo" }),
            button(
              "Close",
              () => {
                gesture = null;
                showStatus();
              },
              { class: "plain", "data-k": "close" },
            ),
          ),
        ]
      : [],
  );
  byId("who").textContent = kept.person ? (kept.shared ? "Shared tablet" : kept.person) : "Who?";
  byId("who").setAttribute(
    "aria-label",
    kept.person && !kept.shared ? `${kept.person} is logging; change` : "Say who is logging",
  );
}
function show() {
  showStatus();
  if (view && view.update) view.update();
}
function open() {
  const [name, ...rest] = location.hash.slice(1).split("=");
  const about = decodeURIComponent(rest.join("="));
  if (!kept.person && !asking && name !== "who" && name !== "work" && store !== undefined && !kept.shared) {
    go("#who");
    return;
  }
  release(name === "entry" ? about : "");
  view =
    name === "work"
      ? workView(about)
      : name === "day"
        ? dayView(about || today())
        : name === "entry"
          ? entryView(about)
          : name === "new"
            ? entryView("", about || today())
            : name === "who"
              ? whoView()
              : benchView();
  byId("title").textContent = view.title;
  document.title = `${view.title} – bench-hours`;
  byId("view").replaceChildren(view.box);
  for (const one of document.querySelectorAll("nav a")) {
    if (one.hash === (name === "day" || name === "new" ? "#day" : name === "bench" || !name ? "#bench" : "-"))
      one.setAttribute("aria-current", "page");
    else one.removeAttribute("aria-current");
  }
  show();
}
async function start() {
  store = await openDatabase();
  storing = !!store;
  await loadStored().catch(unstored);
  if (device.alone || (device.person && !kept.person)) {
    // of whose days this phone knew before, nothing stays
    if (kept.person !== device.person) state = { ...state, entries: [], to_mend: [] };
    Object.assign(kept, { person: device.person, shared: false });
  }
  if (device.shared) kept.shared = true;
  if (!kept.phone) {
    kept.phone = uuid();
    await storeSelf();
  }
  open();
  document.documentElement.dataset.ready = "yes";
  send();
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
  if ("serviceWorker" in navigator)
    navigator.serviceWorker.register("/log/worker.js", { scope: "/log" }).catch(() => {});
}
addEventListener("hashchange", () => {
  open();
  byId("title").focus();
  scrollTo(0, 0);
});
addEventListener("online", () => {
  pause = 0;
  send();
});
document.addEventListener("visibilitychange", () => {
  if (document.hidden) {
    for (const one of queue) one.hold = 0;
    send();
  } else askAnew();
});
setInterval(show, 30000);
setInterval(() => document.hidden || askAnew(), 60000);
start();

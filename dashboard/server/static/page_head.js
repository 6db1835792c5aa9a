// Run in the head of each page, before anything else is there.

// Without the address a page opened by its own path looks for the server below that path first, and fails.
window.__streamlit = {
  BACKEND_BASE_URL: location.origin,
  HOST_CONFIG_BASE_URL: location.origin,
  MAIN_PAGE_BASE_URL: location.origin,
};

// When the page last sent anything, when a run of its script last began or ended, and last ended.
let sentAt = 0;
let ranAt = 0;
let endedAt = 0;
const runs = (app) => app?.dataset.testScriptState === "running";
new MutationObserver(([{ target }]) => {
  ranAt = performance.now();
  if (!runs(target)) endedAt = ranAt;
}).observe(document, { subtree: true, attributeFilter: ["data-test-script-state"] });

// A page whose socket was closed asks whether its device is still admitted, and if not, reloads to say so.
window.WebSocket = class extends WebSocket {
  constructor(...about) {
    super(...about);
    this.addEventListener("close", () =>
      fetch("/_stcore/health").then(
        (answer) => {
          if ([401, 403].includes(answer.status)) location.reload();
        },
        () => {},
      ),
    );
  }

  send(...message) {
    sentAt = performance.now();
    super.send(...message);
  }
};

// A sheet has only the cells that are in sight. Where the one with the focus is taken away on a busy machine,
// nobody has the focus, and what is typed next is lost: the sheet itself takes it.
addEventListener("focusout", ({ target, relatedTarget }) => {
  const sheet = !relatedTarget && target.closest?.("canvas");
  if (!sheet) return;
  queueMicrotask(() => {
    if (!target.isConnected && sheet.isConnected && document.activeElement === document.body) sheet.focus();
  });
});

// A field is sent when it is left, often by the very press on a link to another page. The server would take
// both as one, and the field, or the way to the other page, would be lost: the link waits for the field's run.
const TURN_MS = 50;
const MOST_TURNS = 80;
// A sheet sends a cell a moment after it was left. Counted in turns: a busy page is late with those as well.
const SENT_WITHIN_TURNS = 6;
const LONG_AGO_MS = 2000;
const ANSWERED_WITHIN_MS = 1500;
let typedInto = null;
let leftAt = 0;
let waitingFor = null;
addEventListener("input", ({ target }) => (typedInto = target), true);
addEventListener(
  "focusout",
  ({ target }) => {
    if (target !== typedInto) return;
    typedInto = null;
    leftAt = performance.now();
  },
  true,
);
addEventListener(
  "click",
  (event) => {
    const link = event.target.closest?.("[data-testid=stMain] a[href]:not([target=_blank])");
    const isSent = leftAt <= endedAt && (!typedInto || document.activeElement !== typedInto);
    if (!link || isSent || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    event.stopPropagation();
    typedInto?.blur();
    const first = waitingFor === null;
    waitingFor = link; // whoever presses another one meanwhile means that
    if (first) goWhenSent(1);
  },
  true,
);

function goWhenSent(turn) {
  setTimeout(() => {
    const now = performance.now();
    const isOnItsWay =
      sentAt < leftAt
        ? turn < SENT_WITHIN_TURNS && now - leftAt < LONG_AGO_MS
        : sentAt > ranAt && now - sentAt < ANSWERED_WITHIN_MS;
    const isBusy = isOnItsWay || runs(document.querySelector("[data-testid=stApp]"));
    if (isBusy && turn < MOST_TURNS) {
      goWhenSent(turn + 1);
      return;
    }
    const link = waitingFor;
    waitingFor = null;
    leftAt = 0;
    const drawnAnew = () => [...document.links].find((other) => other.href === link.href);
    (link.isConnected ? link : (drawnAnew() ?? link)).click();
  }, TURN_MS);
}

"""What stands at the door, for who is not let in yet: plain documents that need nothing else of the studio and tell nothing of it."""

from __future__ import annotations

from functools import cache

from markupsafe import Markup
from starlette.responses import HTMLResponse

from dashboard import look, markup
from ingest.asked import NOT_KEPT, csp_hash

_STYLE = f"""body {{ margin: 0 auto; max-width: 34rem; padding: 1.2rem; background: {look.PAPER}; color: {look.INK}; font: 1.05rem/1.5 {look.SANS}; overflow-wrap: break-word; }}
h1 {{ font: 500 1.5rem {look.SERIF}; }} h2 {{ font: 500 1.2rem {look.SERIF}; margin-top: 1.6rem; }} a {{ color: {look.ACCENT}; }}
input, button {{ font: inherit; padding: .7rem .9rem; border: 1px solid {look.SOFT_INK}; border-radius: .3rem; box-sizing: border-box; }}
input {{ width: 100%; background: #fff; color: {look.INK}; letter-spacing: .08em; }} button {{ margin-top: .8rem; background: {look.ACCENT}; border-color: {look.ACCENT}; color: #fff; }}
label {{ display: block; margin: 1rem 0 .3rem; }} .wrong {{ color: {look.OVER}; }} code {{ font-size: .95em; }} li {{ margin: .3rem 0; }}
:focus-visible {{ outline: 3px solid {look.ACCENT}; outline-offset: 2px; }}"""

# The code comes behind the #, which no browser sends: it is in no log, and out of the address as soon as it is read. Nothing is paired unasked, as
# what reads a QR code may open it in a browser of its own.
_PAIR = """"use strict";
const form = document.querySelector("form"), code = document.getElementById("code"), wrong = document.getElementById("wrong");
const brought = decodeURIComponent(location.hash.slice(1));
if (brought) { code.value = brought; history.replaceState(null, "", location.pathname); }
let busy = false;
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (busy) return;
  busy = true;
  wrong.textContent = "One moment …";
  try {
    const answer = await fetch("/pair", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ code: code.value }) });
    const said = await answer.json();
    if (answer.ok) { location.replace(said.opens); return; }
    wrong.textContent = `${said.error.what.charAt(0).toUpperCase()}${said.error.what.slice(1)}. ${said.error.mend}`;
  } catch { wrong.textContent = "The studio cannot be reached just now. The code is still here: try again."; }
  busy = false;
});
const leave = document.getElementById("leave");
if (leave) leave.addEventListener("click", async () => {
  try { await fetch("/pair/leave", { method: "POST" }); location.replace("/pair"); } catch { wrong.textContent = "The studio cannot be reached just now: try again."; }
});
else code.focus();"""

# What the form has not sent yet stays on the phone, and can be read here; what the studio had told it is taken away.
_KEPT = """"use strict";
const kept = document.getElementById("kept");
const request = indexedDB.open("bench-hours");
request.onupgradeneeded = () => request.transaction.abort();
request.onerror = () => {};
request.onsuccess = () => {
  const change = request.result.transaction(["actions", "kept"], "readwrite"), all = change.objectStore("actions").getAll();
  change.objectStore("kept").delete("state");
  all.onsuccess = () => {
    const mine = all.result.filter((one) => !one.received);
    if (!mine.length) return;
    const words = document.createElement("p");
    words.textContent = `${mine.length} ${mine.length === 1 ? "thing that is" : "things that are"} not in the studio yet ${mine.length === 1 ? "stays" : "stay"} on this device. Once it is paired again for the same person, ${mine.length === 1 ? "it is" : "they are"} sent. Do not empty this browser before.`;
    const list = document.createElement("ul");
    for (const one of mine.slice(0, 100)) {
      const row = one.row || {}, line = document.createElement("li");
      const tap = (name) => {
        const at = (one.taps && one.taps[name]) || (/Z$/.test(row[name] || "") && Date.parse(row[name]));
        return at ? new Date(at).toLocaleString("en-GB", { day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" }) : row[name] || "";
      };
      line.textContent = [row.object || (one.works || []).map((work) => work.object).join(", ") || "studio time", row.technique, one.state === "struck" ? "struck out" : "", tap("started_at") && `from ${tap("started_at")}`, tap("ended_at") && `to ${tap("ended_at")}`, row.date, row.hours && `${row.hours} h`, row.note].filter(Boolean).join(", ");
      list.append(line);
    }
    kept.replaceChildren(words, list);
  };
};
if ("caches" in window) caches.delete("bench-hours-form");"""


POLICY = (
    f"default-src 'none'; script-src {csp_hash(_PAIR.encode())} {csp_hash(_KEPT.encode())}; style-src {csp_hash(_STYLE.encode())}; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""Under which these documents run: their own style and scripts, by their digests, and nothing else."""


def refusal(what: str, mend: str, *, of_the_form: bool, status: int) -> bytes:
    """Why somebody is not let in, and the way on; at the form also what the phone still keeps."""
    return document("refusal", what=what[0].upper() + what[1:], mend=mend, of_the_form=of_the_form, status=status, kept=Markup(_KEPT))


@cache
def pair(paired_as: str = "") -> bytes:
    """Where a device is paired with a code; `paired_as` what it is already: then it can leave here."""
    return document("pair", paired_as=paired_as, script=Markup(_PAIR))


@cache
def certificate(fingerprint: str) -> bytes:
    """The steps by which a device comes to trust the studio's own authority (common practice, no source: systems move their menus)."""
    return document("certificate", fingerprint=fingerprint)


def document(name: str, **values: object) -> bytes:
    """A page of plain words from a template that extends `door.html`."""
    return markup.document(name, style=Markup(_STYLE), **values).encode()


def answer(body: bytes, status: int = 200) -> HTMLResponse:
    """One of these documents as what a request is answered with."""
    return HTMLResponse(body, status, {"content-security-policy": POLICY, **NOT_KEPT})

"""What stands at the door, for who is not let in yet: plain documents that need nothing else of the studio and tell nothing of it."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from html import escape

from dashboard import look

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


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


POLICY = f"default-src 'none'; script-src {_hash(_PAIR)} {_hash(_KEPT)}; style-src {_hash(_STYLE)}; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
"""Under which these documents run: their own style and scripts, by their digests, and nothing else."""


def refusal(what: str, mend: str, *, of_the_form: bool, status: int) -> bytes:
    """Why somebody is not let in, and the way on; at the form also what the phone still keeps."""
    other = '<a href="/">To the studio\'s pages</a>' if of_the_form else '<a href="/log">To the form to log hours</a>'
    way = {401: '<p><a href="/pair">I have a code</a></p>', 403: f"<p>{other}</p>"}.get(status, "")
    kept = f'<div id="kept" role="status"></div><script>{_KEPT}</script>' if of_the_form and status == 401 else ""
    return document("Not let in", f"<p>{escape(what[0].upper() + what[1:])}. {escape(mend)}</p>{way}{kept}")


@cache
def pair(paired_as: str = "") -> bytes:
    """Where a device is paired with a code; `paired_as` what it is already: then it can leave here."""
    already = (
        f"<p>This device is paired already, as {escape(paired_as)}. What it has not sent yet, the form to log hours says: send that first.</p>"
        '<p><button type="button" id="leave">Leave the studio on this device</button></p><h2>Pair it as another one</h2>'
        if paired_as
        else ""
    )
    return document(
        "Pair this device",
        f"{already}"
        "<p>The principal makes a code under <em>Who may come in</em>, or, on the studio's machine, with <code>bench-hours pair</code> (so the first one). It pairs one device, once, within ten minutes.</p>"
        '<form novalidate><label for="code">The code</label><input id="code" autocomplete="off" autocapitalize="characters" spellcheck="false" maxlength="40">'
        f'<p id="wrong" class="wrong" role="alert"></p><button>Pair this device</button></form><script>{_PAIR}</script>',
    )


@cache
def certificate(fingerprint: str) -> bytes:
    """The steps by which a device comes to trust the studio's own authority (common practice, no source: systems move their menus)."""
    return document(
        "Trust this studio’s server",
        "<p>Between this device and the studio everything travels encrypted. Who vouches for the studio is the studio itself, so a device has to be told once whom to trust."
        " Until then its browser warns, and the form does not open without network.</p>"
        "<h2>First: is it ours?</h2><p>In the window where bench-hours runs, and under <em>Who may come in</em> with the address for phones, stands this fingerprint (SHA-256). Where it is another, go no further,"
        f" and ask the principal.</p><p><code>{escape(fingerprint)}</code></p>"
        '<p><a href="/certificate.crt" download="bench-hours.crt">Download the certificate</a></p>'
        "<h2>iPhone, iPad</h2><ol><li>Open this page in Safari, download the certificate, and allow the profile.</li><li>Settings, <em>Profile downloaded</em>: install it.</li>"
        "<li>Settings, General, About, <em>Certificate trust settings</em>: switch it on.</li><li>Close Safari and open the studio again.</li></ol>"
        "<h2>Android</h2><ol><li>Download the certificate.</li><li>Settings, search for <em>CA certificate</em> (under security, encryption and credentials), install, and choose the file"
        " that was taken. The warning that others could read along is about whoever holds the studio's key: it lies on the studio's machine only, and can vouch for no server"
        " but those of a local network.</li><li>Close the browser and open the studio again.</li></ol>"
        "<h2>A laptop</h2><p>Download the certificate and add it to the authorities that the system, or the browser, trusts for web sites.</p>"
        '<p><a href="/pair">Then pair this device</a></p>',
    )


def document(title: str, body: str) -> bytes:
    """A page of plain words under a title; `body` is HTML."""
    return (
        f'<!doctype html><html lang="en-GB"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>{title} – bench-hours</title>'
        f"<style>{_STYLE}</style></head><body><main><h1>{title}</h1>{body}</main></body></html>"
    ).encode()

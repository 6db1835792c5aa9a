// The code stands behind the #, which browsers do not send: it is in no log, and leaves the address once read.
// Nothing is paired unasked, as a QR scanner may open it in a browser of its own.
"use strict";
const form = document.querySelector("form"), code = document.getElementById("code");
const wrong = document.getElementById("wrong");
const brought = decodeURIComponent(location.hash.slice(1));
if (brought) { code.value = brought; history.replaceState(null, "", location.pathname); }
let busy = false;
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (busy) return;
  busy = true;
  wrong.textContent = "One moment …";
  try {
    const answer = await fetch("/pair", {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ code: code.value }),
    });
    const result = await answer.json();
    if (answer.ok) { location.replace(result.opens); return; }
    const { what, mend } = result.error;
    wrong.textContent = `${what.charAt(0).toUpperCase()}${what.slice(1)}. ${mend}`;
  } catch { wrong.textContent = "The studio cannot be reached just now. The code is still here: try again."; }
  busy = false;
});
const leave = document.getElementById("leave");
if (leave) leave.addEventListener("click", async () => {
  try { await fetch("/pair/leave", { method: "POST" }); location.replace("/pair"); }
  catch { wrong.textContent = "The studio cannot be reached just now: try again."; }
});
else code.focus();

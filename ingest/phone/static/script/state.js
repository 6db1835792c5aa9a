"use strict";
// The form for a phone at the bench. An action is stored on the phone first, under its own UUID, then sent.
// Each carries the whole entry as it should be, so that it may be sent twice, late or out of order.

const API = "/log/v1/";
// how long a spell just finished waits for its details before it is sent
const HOLD_MS = 120000;
const PATIENCE_MS = 20000;
const byId = (id) => document.getElementById(id);
let state = JSON.parse(byId("state").textContent);
// actions that the studio has not settled yet, in the order in which they were made
let queue = [];
let kept = { phone: "", person: "", shared: false, number: 0, last: 0, offset: 0, paused: [], still: {} };
let drafts = {};
let trouble = "",
  clockOff = 0,
  storing = true,
  fresh = false;
// whose device this is, as the studio says: {person, alone} or {shared}; alone: it logs for nobody else
const device = state.device || {};
// what was done just now, and how to undo it
let gesture = null;
let view = null;

// View: the bench.

const entryHash = (entry) => `#entry=${encodeURIComponent(entry)}`;
const go = (hash) => {
  if (location.hash === hash) open();
  else location.hash = hash;
};
const cautionOf = (name) => {
  const carried = (technique(name)?.cautions || []).map((one) => state.cautions[one]);
  return carried.length
    ? el("p", { class: "soft" }, `Usual caution: ${carried.join(", ")}. ${state.caution}`)
    : null;
};
const lineWords = (one) =>
  `${one.works?.map((two) => two.object).join(", ") || workName(one.row.object)}: ${lineName(one.row)}`;
function stateOf(one) {
  if (one.refused) return el("small", { class: "wrong" }, `Refused: ${faultWords(one.refused)}`);
  if (one.here) return el("small", {}, "saved here");
  const remarked = remarks.get(one.entry.split("+share ")[0]);
  return remarked && el("small", {}, `saved in the studio; ${faultWords(remarked)}`);
}
const faultWords = (faults) =>
  faults
    .map(
      (one) =>
        `${one.called ? `${one.called}${one.value ? ` “${/^\d.+Z$/.test(one.value) ? wallOf(Date.parse(one.value)) : one.value}”` : ""} ` : ""}${one.reason}. ${one.mend}`,
    )
    .join(" ");

function benchView() {
  const box = el("div");
  const search = el("input", {
    type: "search",
    id: "find",
    autocomplete: "off",
    placeholder: "code or title",
    oninput: () => update(),
  });
  const update = () => {
    const running = inHand(),
      hidden = (state.in_hand || []).filter((one) => !one.entry).map((one) => one.object);
    const mendable = entries().filter((one) => one.refused);
    const cards = [
      running.length > 0 && el("section", {}, el("h2", {}, "In hand"), running.map(card)),
      kept.paused.length > 0 &&
        el(
          "section",
          {},
          el("h2", {}, "Paused"),
          kept.paused.map((one) =>
            el(
              "div",
              { class: "row" },
              button(`Go on: ${lineName(one)} on ${workName(one.object)}`, () => whoever(() => begin(one))),
              button(
                "Leave it",
                async () => {
                  kept.paused = kept.paused.filter((two) => two !== one);
                  await storeSelf();
                  show();
                },
                { class: "plain", "aria-label": `Leave ${lineName(one)} on ${one.object}` },
              ),
            ),
          ),
        ),
      mendable.length > 0 &&
        el(
          "section",
          {},
          el("h2", {}, "To be mended"),
          el(
            "ul",
            { class: "list" },
            mendable.map((one) =>
              el(
                "li",
                {},
                button([`${lineWords(one)} `, stateOf(one)], () => go(entryHash(one.entry)), {
                  class: "plain",
                }),
              ),
            ),
          ),
        ),
    ];
    const wanted = folded(search.value);
    const fits = state.works.filter(
      (one) => !wanted || folded(`${one.object} ${one.title || ""}`).includes(wanted),
    );
    const shown = fits.slice(0, wanted ? 30 : 40);
    replace(top, cards);
    replace(list, [
      el(
        "ul",
        { class: "works" },
        shown.map((one) => workRow(one, running, hidden)),
        !wanted &&
          el(
            "li",
            {},
            button(
              el("span", {}, "Studio time", el("small", {}, "enquiries, accounts, supplies, teaching …")),
              () => go("#work="),
              { class: "work" },
            ),
          ),
      ),
      fits.length > shown.length &&
        el("p", { class: "soft" }, `${fits.length - shown.length} more: search for them above.`),
      !fits.length &&
        el(
          "p",
          {},
          wanted
            ? "No work on the bench is called so."
            : "No work is on the bench yet: add it under Works, on the studio's pages. Studio time can be logged.",
        ),
    ]);
  };
  const top = el("div"),
    list = el("div");
  box.append(
    top,
    el(
      "section",
      {},
      el("h2", { id: "works" }, "Works"),
      state.works.length > 8 && el("label", { for: "find" }, "Find a work"),
      state.works.length > 8 && search,
      list,
    ),
  );
  return { title: "At the bench", box, update };
}
function card(one) {
  const waits = modeOf(one.row) === "unattended",
    whose = one.row.person !== kept.person ? `, ${one.row.person}` : "";
  const since = `${waits || modeOf(one.row) === "attended" ? `${lineName(one.row)}: on since` : `${lineName(one.row)} since`} ${clockWords(one.since)}${whose}`;
  const long = now() - one.since;
  const asks = !waits && long > state.ask_after_hours * 36e5 && !(kept.still[one.entry] > now());
  const about = lineOnWorks(one.row);
  return el(
    "div",
    { class: asks ? "card asks" : "card" },
    el(
      "p",
      {},
      el("strong", {}, workName(one.row.object)),
      el("br"),
      `${since}, began ${longWords(long)} ago.`,
    ),
    stateOf(one),
    cautionOf(one.row.technique),
    asks
      ? forgotten(one)
      : el(
          "div",
          { class: "row" },
          button("Finish", () => finish(one), {
            class: "first",
            "aria-label": `Finish ${about}`,
            "data-k": `finish ${one.entry}`,
          }),
          !waits &&
            button("Pause", () => rest(one), {
              "aria-label": `Pause ${about}`,
              "data-k": `pause ${one.entry}`,
            }),
        ),
  );
}
// What is typed of the ends of spells: their cards are drawn anew as time goes by.
const ends = {};
// A spell that runs longer than the studio finds likely is asked about; its end is proposed, and nothing is
// filled in unasked.
function forgotten(one) {
  const usual = (technique(one.row.technique) || {}).usual_hours;
  const next = entries()
    .filter((two) => two.entry !== one.entry && two.row.person === one.row.person && two.since > one.since)
    .sort((a, b) => a.since - b.since)[0];
  const proposed = [];
  if (usual && one.since + usual * 36e5 < now())
    proposed.push([
      one.since + (Math.round(usual * 4) / 4) * 36e5,
      "as long as such a spell usually is here",
    ]);
  if (next) proposed.push([next.since, `when you began ${lineName(next.row)}`]);
  const ended = (ms) =>
    record(
      `Finished: ${lineOnWorks(one.row)} at ${clockWords(ms)}.`,
      [
        {
          ...finished(one, 0),
          taps:
            one.taps.started_at != null
              ? { started_at: one.taps.started_at, ended_at: ms - kept.offset }
              : {},
          row: { ...one.row, ended_at: instant(ms) },
        },
      ],
      { person: kept.person || one.row.person },
    );
  const said = (ends[one.entry] ||= {});
  const time = el("input", {
    type: "time",
    id: `ended ${one.entry}`,
    "data-k": `time ${one.entry}`,
    oninput: () => {
      said.time = time.value;
    },
  });
  time.value = said.time || "";
  const wrong = el("p", { class: "wrong", role: "alert" }, said.wrong);
  const typed = () => {
    wrong.textContent = said.wrong = time.value ? "" : "Say at what time it ended.";
    if (said.wrong) return;
    const [day, from] = wallOf(one.since).split(" "),
      row = {
        ...one.row,
        started_at: one.row.started_at || instant(one.since),
        ended_at: `${time.value > from ? day : plusDays(day, 1)} ${time.value}`,
      };
    record(
      `Finished: ${lineOnWorks(one.row)} at ${time.value}.`,
      [{ ...contentOf(one), entry: one.entry, state: "logged", row, taps: {} }],
      { person: kept.person || one.row.person },
    );
  };
  return el(
    "div",
    {},
    el("p", {}, el("strong", {}, "Is it still in hand, or was the end forgotten?")),
    el(
      "div",
      { class: "list" },
      proposed.map(([ms, words]) =>
        button([`It ended at ${clockWords(ms)}`, el("small", {}, words)], () => ended(ms)),
      ),
    ),
    el("label", { for: time.id }, "It ended at"),
    time,
    wrong,
    el(
      "div",
      { class: "row" },
      button("Save this end", typed),
      button("Still in hand", async () => {
        kept.still[one.entry] = now() + state.ask_after_hours * 36e5;
        await storeSelf();
        show();
      }),
    ),
  );
}
function sentence(one, running, hidden) {
  const here = running
    .filter((two) => two.row.object === one.object)
    .map(
      (two) =>
        `${lineName(two.row)} ${modeOf(two.row) === "hands_on" ? "" : "on "}since ${clockWords(two.since)}`,
    );
  if (hidden.includes(one.object)) here.push("somebody is at it");
  const last = (one.lines || []).find((two) => two.last_day);
  return here.length
    ? here.join("; ")
    : last
      ? `last: ${lineName(last)}, ${dayWords(last.last_day)}`
      : "nothing logged yet";
}
function workRow(one, running, hidden) {
  const first = (one.lines || [])[0];
  const at =
    first && running.some((two) => two.row.object === one.object && lineName(two.row) === lineName(first));
  return el(
    "li",
    {},
    button(
      [el("span", {}, workName(one.object)), el("small", {}, sentence(one, running, hidden))],
      () => go(`#work=${encodeURIComponent(one.object)}`),
      { class: "work", "data-k": `work ${one.object}` },
    ),
    first &&
      !at &&
      button(
        [el("small", {}, "begin"), lineName(first)],
        () => whoever(() => begin({ ...first, object: one.object })),
        {
          class: "again",
          "aria-label": `Begin ${lineName(first)} on ${one.object}`,
          "data-k": `begin ${one.object}`,
        },
      ),
  );
}

// The sheet of a day, and the search for works and techniques.

function dayView(day) {
  const list = el("ol", { class: "sheet" }),
    total = el("p", { class: "total" }),
    chips = el("div", { class: "chips" }),
    hint = el("p", { class: "soft" }, "As the bench and the last days suggest:");
  const label = el("h2"),
    latest = button("Day after ›", () => go(`#day=${plusDays(day, 1)}`)),
    earlier = button("‹ Day before", () => go(`#day=${plusDays(day, -1)}`));
  const quick = quickForm(day);
  const update = () => {
    label.textContent = dayWords(day);
    latest.hidden = day >= today();
    earlier.hidden = day <= plusDays(today(), -7);
    const all = entries()
      .filter((one) => one.day === day && isOwn(one) && one.state !== "struck")
      .sort((a, b) => ((a.from || "~") < (b.from || "~") ? -1 : 1));
    const lines = [];
    let until = "";
    for (const one of all) {
      const bench = modeOf(one.row) !== "unattended";
      if (bench && until && one.from > until) lines.push(gap(day, until, one.from));
      lines.push(sheetLine(one));
      if (bench && one.to > until) until = one.to;
    }
    replace(list, lines);
    const logged = all.filter((one) => one.state === "logged"),
      known = logged.filter((one) => !one.refused && one.hours != null),
      unread = logged.length - known.length;
    const storeCounts = known.filter((one) => modeOf(one.row) !== "unattended"),
      sum = countedOnce(storeCounts);
    total.textContent = all.length
      ? `${sum ? `${longWords(sum * 36e5)} said for this day` : "No hours said for this day"}${unread ? `; ${plural(unread, "line is", "lines are")} not in it yet` : ""}.`
      : "Nothing is said for this day yet.";
    const ideas = suggestions(day, all);
    hint.hidden = !ideas.length;
    replace(
      chips,
      ideas.map((row) => button(`${row.object || "studio time"} ${lineName(row)}`, () => quick.fill(row))),
    );
  };
  update();
  return {
    title: "My day",
    update,
    box: el(
      "div",
      {},
      label,
      el("div", { class: "row" }, earlier, latest),
      list,
      total,
      el("h3", {}, "Add a line"),
      hint,
      chips,
      quick.box,
    ),
  };
}
// Hours of a person count once: of time waited beside a work, only what no other spell of hers covers.
function countedOnce(all) {
  const beside = (one) => modeOf(one.row) === "attended",
    covered = [];
  return [...all]
    .sort((a, b) => beside(a) - beside(b))
    .reduce((sum, one) => {
      if (!one.from || !one.to) return sum + one.hours;
      let free = [[onClock(one.from), onClock(one.to)]];
      for (const two of covered)
        if (beside(one) && two.person === one.row.person)
          free = free.flatMap(([a, b]) =>
            [
              [a, Math.min(b, two.from)],
              [Math.max(a, two.to), b],
            ].filter(([a, b]) => b > a),
          );
      covered.push({ person: one.row.person, from: onClock(one.from), to: onClock(one.to) });
      return (
        sum +
        Math.max(
          0,
          one.hours - (onClock(one.to) - onClock(one.from)) + free.reduce((so, [a, b]) => so + b - a, 0),
        )
      );
    }, 0);
}
function sheetLine(one) {
  const long =
    one.state === "running"
      ? "in hand"
      : one.hours != null
        ? spent(one.hours)
        : hoursTyped(one.row.hours || "");
  return el(
    "li",
    {},
    button(
      [
        el(
          "span",
          { class: "when" },
          one.from ? `${one.from.slice(11, 16)}–${one.to ? one.to.slice(11, 16) : ""}` : "",
        ),
        el(
          "span",
          { class: "what" },
          lineWords(one),
          modeOf(one.row) === "unattended" && " (waiting)",
          " ",
          stateOf(one),
        ),
        el("span", { class: "long" }, long),
      ],
      () => go(entryHash(one.entry)),
      { "data-k": `line ${one.entry}` },
    ),
  );
}
function gap(day, from, to) {
  const minutes = (onClock(to) - onClock(from)) * 60;
  return minutes < 10
    ? null
    : el(
        "li",
        { class: "gap" },
        button(
          [
            el("span", { class: "when" }, `${from.slice(11)}–${to.slice(11)}`),
            el("span", { class: "what" }, `nothing said for ${longWords(minutes * 6e4)}; say what it was`),
          ],
          () => {
            drafts.new = { from: from.slice(11), to: to.slice(11), day };
            storeDraft("new");
            go(`#new=${day}`);
          },
        ),
      );
}
// What this day may hold: what was at the bench, what was done the day before, what is estimated and not
// begun on the works last in hand.
function suggestions(day, all) {
  const lines = [
    ...inHand().filter(isOwn),
    ...all.filter((one) => !one.refused),
    ...entries()
      .filter((one) => isOwn(one) && one.state === "logged" && one.day < day)
      .sort((a, b) => (a.day < b.day ? 1 : -1)),
  ].map((one) => lineOf(one.row));
  for (const one of state.works.slice(0, 3))
    for (const two of (one.lines || []).slice(0, 4)) lines.push(lineOf({ ...two, object: one.object }));
  const seen = new Map(lines.map((one) => [`${one.object}|${lineName(one)}`, one]));
  return [...seen.values()].slice(0, 6);
}
function quickForm(day) {
  const draft = drafts[`day ${day}`] || {};
  let filled = draft.row || null;
  const about = pick(
    "Work",
    "quick work",
    worksByName,
    draft.object || "",
    "its code, or empty for studio time",
  );
  const what = pick("Technique", "quick technique", linesByName, draft.technique || "", OR_A_PHASE);
  const hours = el("input", {
    id: "quick hours",
    autocomplete: "off",
    value: draft.hours || "",
    placeholder: "1½, 1.5, 1:30 or 1h30",
    enterkeyhint: "done",
  });
  const wrong = el("p", { class: "wrong", role: "alert" });
  const doubted = doubting(wrong, "Add");
  let added = 0;
  const remember = () => {
    drafts[`day ${day}`] = {
      object: about.value(),
      technique: what.value(),
      hours: hours.value,
      row: filled,
    };
    storeDraft(`day ${day}`);
  };
  const add = once(() => {
    // the second of two taps
    if (Date.now() - added < 1000 && !what.value()) return;
    if (!what.value() || !hours.value.trim()) {
      wrong.textContent = what.value() ? "Write how many hours." : SAY_WHICH;
      (what.value() ? hours : what.input).focus();
      return;
    }
    if (doubted(about.value(), what.value(), hours.value.trim())) return;
    const same = filled && lineWithoutPart(filled) === what.value() && filled.object === about.value();
    const row = {
      ...lineOf({ ...(same ? filled : lineCalled(what.value())), object: about.value() }),
      person: kept.person,
      date: day,
      hours: hours.value.trim(),
    };
    const done = async () => {
      row.person = kept.person;
      delete drafts[`day ${day}`];
      about.set("");
      what.set("");
      hours.value = "";
      filled = null;
      wrong.textContent = "";
      added = Date.now();
      await record(`Added: ${lineOnWorks(row)}, ${hoursTyped(row.hours)}.`, [
        { entry: uuid(), ...contentOf({ state: "logged", row }) },
      ]);
      // only now: what was written is on the phone as an entry
      await storeDraft(`day ${day}`);
      if (!location.hash.startsWith("#day")) go(`#day=${day}`);
    };
    return kept.person ? done() : whoever(done);
  });
  const box = el(
    "form",
    { onsubmit: add, oninput: remember, novalidate: true },
    about.box,
    what.box,
    el("label", { for: "quick hours" }, "Hours"),
    hours,
    wrong,
    el(
      "div",
      { class: "row" },
      el("button", { class: "first" }, "Add"),
      button("With times and more …", () => {
        drafts.new = { object: about.value(), technique: what.value(), hours: hours.value, day };
        storeDraft("new");
        go(`#new=${day}`);
      }),
    ),
  );
  return {
    box,
    fill(row) {
      filled = row;
      about.set(row.object);
      what.set(lineWithoutPart(row));
      remember();
      hours.focus();
    },
  };
}
// A field for a word that is known: a few that fit are offered below as buttons; what is typed is understood
// by the studio as in any file.
const worksByName = () =>
  state.works.map((one) => [one.object, workName(one.object), (!kept.shared && one.title) || one.object]);
const linesByName = () => [
  ...state.techniques.map((one) => [one.technique, one.technique, ...(one.aliases || [])]),
  ...wholes().map((one) => [lineWithoutPart(one), lineWithoutPart(one), one.phase]),
];
const OR_A_PHASE = "or a phase";
const SAY_WHICH = "Say which technique or phase.";
// What will hardly be understood is asked about before anything is sent; said again as it is, it goes: the
// studio may know more than this phone.
function doubting(wrong, act) {
  let resultOf = "";
  return (object, name, hours, ...numbers) => {
    const unclear = [hours, ...numbers].find((text) => /^[1-9]\d?\d?[.,]\d{3}$/.test(text));
    const about = unclear
      ? `“${unclear}” may be ${unclear.replace(/\D/, "")} or ${unclear}0`
      : !technique(name) && lineCalled(name).technique
        ? `No technique or phase is called “${name}” here`
        : object && !work(object)
          ? `No work “${object}” is on the bench`
          : hours && (!/[\d¼½¾]/.test(hours) || /[;!?=]/.test(hours) || hours.replace(",", ".") > 16)
            ? `“${hours}” does not look like the hours of a day`
            : "";
    wrong.textContent =
      about && about !== resultOf ? `${about}. Mend it, or tap ${act} again to send it so.` : "";
    resultOf = about;
    return wrong.textContent;
  };
}
function pick(label, id, options, value, hint) {
  const list = el("ul", { class: "choices" });
  const input = el("input", {
    id,
    value,
    autocomplete: "off",
    "aria-describedby": hint ? `${id} hint` : null,
    oninput: () => offer(),
  });
  const offer = () => {
    const wanted = folded(input.value);
    const exact = options().some(([known]) => folded(known) === wanted);
    const whole = (words) => !lineCalled(words[0]).technique;
    const fits = (words) =>
      whole(words)
        ? wholeFits(lineCalled(words[0]), wanted)
        : words.some((word) => folded(word).includes(wanted));
    // what begins so stands first, and wholes behind techniques
    const first = (words) => !words.some((word) => folded(word).startsWith(wanted)) + 2 * whole(words);
    const found =
      wanted && !exact
        ? options()
            .filter(fits)
            .sort((a, b) => first(a) - first(b))
            .filter((words, place) => place < 6 || whole(words))
        : [];
    replace(
      list,
      found.map(([known, shown]) =>
        el(
          "li",
          {},
          button(shown, () => {
            input.value = known;
            replace(list, []);
            input.dispatchEvent(new Event("input", { bubbles: true }));
            input.focus();
          }),
        ),
      ),
    );
  };
  const exactly = () => {
    const wanted = folded(input.value);
    const found = options().filter((words) => words.some((word) => folded(word) === wanted));
    // a technique and its phase may be called alike
    const [known] =
      found.find(([known]) => folded(known) === wanted) || (found.length === 1 && found[0]) || [];
    return (wanted && known) || input.value.trim();
  };
  return {
    box: el(
      "div",
      {},
      el("label", { for: id }, label),
      hint && el("small", { id: `${id} hint` }, hint),
      input,
      list,
    ),
    input,
    value: exactly,
    set(text) {
      input.value = text || "";
      replace(list, []);
    },
  };
}

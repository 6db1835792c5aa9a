// The sheet of an entry: one just finished, a correction, or a new line with times.

function entryView(entry, day) {
  const one = entry ? findEntry(entry) : null;
  if (entry && !one)
    return { title: "Entry", box: el("p", {}, "Struck out, or older than a week: see One work.") };
  if (one && one.state === "running")
    return {
      title: workName(one.row.object),
      box: el(
        "div",
        {},
        card(one),
        el(
          "div",
          { class: "row" },
          button("Strike it out: it was not begun", () => strike(one)),
        ),
      ),
    };
  const key = entry || "new",
    draft = drafts[key] || {},
    row = one ? one.row : {};
  const justFinished = one && one.hold > 0;
  const was = (name, otherwise) => (draft[name] !== undefined ? draft[name] : otherwise);
  const spoken = { 25: "¼", 50: "½", 75: "¾", 100: "done" };
  const over = one?.works || [];
  const about = pick(
    "Work",
    "work",
    worksByName,
    was("object", row.object || over[0]?.object || ""),
    "its code, or empty for studio time",
  );
  const called = one ? lineWithoutPart(row) : "";
  const what = pick("Technique", "technique", linesByName, was("technique", called), OR_A_PHASE);
  const fields = [];
  const field = (name, { value = "", ...about }) => {
    const input = el("input", { id: name, name, autocomplete: "off", ...about, value: was(name, value) });
    fields.push([input, value]);
    return input;
  };
  const date = field("day", { type: "date", value: one ? one.day : day, max: today() });
  const from = field("from", { type: "time", value: one && one.from ? one.from.slice(11, 16) : "" }),
    to = field("to", { type: "time", value: one && one.to ? one.to.slice(11, 16) : "" });
  const hours = field("hours", {
    value: one && !one.from ? row.hours || "" : "",
    placeholder: "1.5, 1:30 or 1h30, where there are no times",
  });
  const part = field("part", { value: row.part || "" });
  const quantity = field("quantity", { value: row.quantity || "", inputmode: "decimal" });
  const note = el("textarea", { id: "note", name: "note" }, was("note", row.note || ""));
  const choice = (name, legend, options, value) =>
    el(
      "fieldset",
      {},
      el("legend", {}, legend),
      el(
        "div",
        { class: "choices" },
        options.map(([known, words]) =>
          el(
            "label",
            {},
            el("input", { type: "radio", name, value: known, checked: was(name, value) === known }),
            words,
          ),
        ),
      ),
    );
  const found = el("input", {
    type: "checkbox",
    name: "discovery",
    checked: was("discovery", row.discovery === "yes"),
  });
  const shares = {
    ...Object.fromEntries(over.map((two) => [two.object, two.share || "1"])),
    ...draft.shares,
  };
  const own = el("div"),
    others = was(
      "also",
      over.slice(1).map((two) => two.object),
    );
  const choices = [...new Set([...others, ...state.works.slice(0, 40).map((two) => two.object)])].filter(
    (code) => code !== about.value(),
  );
  const also = el(
    "details",
    { hidden: !choices.length, open: others.length > 0 },
    el("summary", {}, "One spell over several works"),
    el(
      "p",
      { class: "soft" },
      "Choose the other works it went to. How far and how much is said of each work later.",
    ),
    choice(
      "split",
      "Shared out",
      [
        ["equally", "equally"],
        ["by area", "by area"],
        ["own shares", "by shares of my own"],
      ],
      (one && one.split) || "equally",
    ),
    el(
      "div",
      { class: "choices" },
      choices.map((code) =>
        el(
          "label",
          {},
          el("input", { type: "checkbox", name: "also", value: code, checked: others.includes(code) }),
          code,
        ),
      ),
    ),
    own,
  );
  const wrong = el("p", { class: "wrong", role: "alert" });
  const ticked = () => [...also.querySelectorAll("input[name=also]:checked")].map((tick) => tick.value);
  const form = el("form", { novalidate: true });
  const chosen = (name) => (form.querySelector(`input[name="${name}"]:checked`) || {}).value || "";
  let shared = "";
  const share = () => {
    const codes = ticked(),
      wants = chosen("split") === "own shares" && codes.length;
    const all = wants ? [...new Set([about.value() || codes[0], ...codes])] : [];
    if (`${all}` === shared) return;
    shared = `${all}`;
    replace(
      own,
      all.map((code, i) => {
        const box = el("input", {
          id: `share ${i}`,
          inputmode: "decimal",
          value: shares[code] ?? "1",
          oninput: () => {
            shares[code] = box.value;
          },
        });
        return el("div", {}, el("label", { for: box.id }, `Share of ${code}`), box);
      }),
    );
  };
  // a whole is not measured
  const treated = el("label", { for: "quantity" }),
    amount = el("div", {}, treated, quantity);
  const lineNow = () => (what.value() === called ? row : lineCalled(what.value()));
  const measure = () => {
    const name = lineNow().technique,
      unit = technique(name)?.unit;
    amount.hidden = !!what.value() && !name;
    treated.textContent = `How much was treated${unit ? `, ${{ dm2: "dm²", pcs: "pieces" }[unit] || unit}` : ""}`;
  };
  const remember = () => {
    share();
    measure();
    drafts[key] = {
      object: about.value(),
      technique: what.value(),
      ...Object.fromEntries(
        fields.filter(([input, value]) => input.value !== value).map(([input]) => [input.name, input.value]),
      ),
      note: note.value,
      done: chosen("done"),
      charge: chosen("charge"),
      mode: chosen("mode"),
      split: chosen("split"),
      discovery: found.checked,
      also: ticked(),
      shares,
    };
    storeDraft(key);
  };
  const leave = async () => {
    delete drafts[key];
    await storeDraft(key);
  };
  const back = () => {
    go(justFinished ? "#bench" : `#day=${date.value || day || today()}`);
  };
  const times = el(
    "div",
    {},
    el("label", { for: "day" }, "Day"),
    date,
    el(
      "div",
      { class: "pair" },
      el("div", {}, el("label", { for: "from" }, "From"), from),
      el("div", {}, el("label", { for: "to" }, "To"), to),
    ),
    el("label", { for: "hours" }, "Hours"),
    hours,
  );
  const line = [
    about.box,
    what.box,
    times,
    choice(
      "mode",
      "Kind of time",
      [
        ["", "as usual"],
        ["hands_on", "hands on"],
        ["attended", "waiting beside it"],
        ["unattended", "waits by itself"],
      ],
      row.mode && row.mode !== modeOf({ technique: row.technique }) ? row.mode : "",
    ),
  ];
  const details = [
    choice(
      "done",
      "How far is the line?",
      [
        ["", "not said"],
        ["25", "¼"],
        ["50", "½"],
        ["75", "¾"],
        ["100", "done"],
      ],
      row.done || "",
    ),
    row.done && !spoken[row.done]
      ? el("p", { class: "soft" }, `${row.done} % stays unless another is chosen.`)
      : null,
    amount,
    el("label", { for: "note" }, "Note"),
    note,
    el("label", { class: "tick" }, found, "Nobody foresaw this"),
    choice(
      "charge",
      "Charge",
      [
        ["quoted", "quoted"],
        ["extra", "extra, agreed"],
        ["own_cost", "own cost"],
      ],
      row.charge || "quoted",
    ),
    el("label", { for: "part" }, "Part of the work, if not the whole (frame, reverse, second tear)"),
    part,
    also,
  ];
  const name = entry || uuid();
  const doubted = doubting(wrong, "Save");
  const save = once(() => {
    const bad = (words, input) => {
      wrong.textContent = words;
      input.focus();
    };
    if (!what.value()) return bad(SAY_WHICH, what.input);
    if (!from.value !== !to.value)
      return bad(
        from.value
          ? "Say when it ended, or leave the beginning empty."
          : "Say when it began, or leave the end empty.",
        from.value ? to : from,
      );
    if (!from.value && !hours.value.trim()) return bad("Write how many hours, or from when to when.", hours);
    const much = amount.hidden ? "" : quantity.value.trim();
    if (
      doubted(
        about.value(),
        what.value(),
        from.value ? "" : hours.value.trim(),
        much,
        ...Object.values(shares),
      )
    )
      return;
    const { phase, technique } = lineNow();
    const said = {
      ...lineOf({ object: about.value(), phase, technique, part: part.value.trim() }),
      person: row.person || kept.person,
      charge: chosen("charge"),
      quantity: much,
      unit: much && row.unit && technique === row.technique ? row.unit : "",
      done: chosen("done") || (row.done && !spoken[row.done] ? row.done : ""),
      note: note.value.trim(),
      discovery: found.checked ? "yes" : row.discovery === "yes" ? "no" : row.discovery || "",
      mode: chosen("mode"),
    };
    let taps = {};
    if (from.value) {
      const same = one && one.from === `${date.value} ${from.value}` && one.to.slice(11, 16) === to.value;
      const ends = `${to.value > from.value ? date.value : plusDays(date.value, 1)} ${to.value}`,
        long = onClock(ends) - onClock(`${date.value} ${from.value}`);
      if (!same && to.value <= from.value && long > 12 && modeOf(said) !== "unattended")
        return bad(
          `From ${from.value} to ${to.value} would be ${spent(long)}, into the next day: see the times.`,
          from,
        );
      if (same) {
        taps = one.taps || {};
        for (const name of ["started_at", "ended_at"])
          if (taps[name] == null && one.row[name]) said[name] = one.row[name];
      } else Object.assign(said, { started_at: `${date.value} ${from.value}`, ended_at: ends });
    } else Object.assign(said, { date: date.value, hours: hours.value.trim() });
    const codes = ticked();
    const all = [...new Set([about.value() || codes[0], ...codes])],
      works =
        all.length > 1
          ? all.map((code) => ({
              object: code,
              share: chosen("split") === "own shares" ? (shares[code] ?? "1") : "",
            }))
          : [];
    if (codes.length) said.object = works.length ? "" : all[0];
    const act = async () => {
      said.person = said.person || kept.person;
      delete drafts[key];
      await record(`${one ? "Saved" : "Added"}: ${lineOnWorks(said, works)}.`, [
        { entry: name, state: "logged", row: said, taps, works, split: chosen("split") },
      ]);
      await storeDraft(key);
      go(justFinished ? "#bench" : `#day=${date.value || today()}`);
    };
    return said.person ? act() : whoever(act);
  });
  const buttons = el(
    "div",
    { class: "row keep" },
    el("button", { class: "first" }, "Save"),
    button(justFinished ? "Skip" : "Back", () => leave().then(back)),
    one && button("Strike it out", () => strike(one).then(leave)),
  );
  const sheet = justFinished
    ? [
        cautionOf(row.technique),
        ...details,
        wrong,
        buttons,
        el("details", { open: !!one.refused }, el("summary", {}, "Change work, technique or times"), line),
      ]
    : [
        ...line,
        el(
          "details",
          {
            open:
              !one ||
              !!(
                one.refused ||
                over.length ||
                row.done ||
                row.quantity ||
                row.note ||
                row.part ||
                (row.charge || "quoted") !== "quoted"
              ),
          },
          el("summary", {}, "How far, how much, note and more"),
          details,
        ),
        wrong,
        buttons,
      ];
  form.append(...sheet.filter(Boolean));
  form.addEventListener("submit", save);
  form.addEventListener("input", remember);
  share();
  measure();
  const again =
    "note" in draft ? el("p", { class: "soft" }, "What you wrote and did not save is here again.") : null;
  return {
    title: justFinished
      ? `${lineName(row)}, ${spent(one.hours || 0)}`
      : one
        ? "Correct an entry"
        : "A new line",
    update: measure,
    box: el(
      "div",
      {},
      justFinished && el("p", {}, `${workName(row.object)}. The time is saved; all below may stay empty.`),
      one && one.refused && el("p", { class: "wrong", role: "alert" }, stateOf(one)),
      again,
      form,
    ),
  };
}
async function strike(one) {
  await record(`Struck out: ${lineOnWorks(one.row, one.works)}.`, [
    { ...contentOf(one), entry: one.entry, state: "struck" },
  ]);
  go(one.state === "running" ? "#bench" : `#day=${one.day}`);
}
// A spell just finished waits for what is still to be said of it only while that is being written.
function release(but) {
  const held = queue.filter((one) => one.hold && one.entry !== but);
  if (held.length) settle(held, (one) => ({ ...one, hold: 0 })).then(send);
}

// Views: a work, who is logging.

function workView(code) {
  let one = code ? work(code) : {};
  if (!one) return { title: code, box: el("p", {}, "This work is not on the bench.") };
  const studio = new Set(state.phases.filter((two) => two.studio_time).map((two) => two.phase));
  const choose = ({ phase, technique, part }) =>
    whoever(() => begin({ phase, technique, part, object: code }));
  const list = el("ul", { class: "list" });
  const search = el("input", {
    type: "search",
    id: "technique",
    autocomplete: "off",
    oninput: () => update(),
  });
  const update = () => {
    const wanted = folded(search.value);
    // the first page leaves lines out: they come with the first answer
    one = work(code) || one;
    // a work that is estimated as a whole and not begun is begun so
    const later = (two) => !!(two.phase || two.last_day);
    const lines = (one.lines || [])
      .filter((two) => !wanted || folded(lineName(two)).includes(wanted))
      .sort((a, b) => later(a) - later(b));
    // what begins so stands first
    const first = (two) => !folded(two.technique).startsWith(wanted);
    // the work as a whole is always there
    const fits = (two) =>
      studio.has(two.phase) !== !!code &&
      !lines.some((line) => lineName(line) === lineName(two)) &&
      (wanted
        ? two.technique
          ? folded([two.technique, ...(two.aliases || [])].join(" ")).includes(wanted)
          : wholeFits(two, wanted)
        : !code || !lines.length || !two.phase);
    const rest = state.techniques
      .filter(fits)
      .sort((a, b) => first(a) - first(b))
      .slice(0, 12)
      .concat(wholes().filter(fits));
    const about = (two) =>
      two.last_day
        ? `last ${dayWords(two.last_day)}`
        : lines.includes(two)
          ? "in the estimate, not begun"
          : two.mode === "unattended"
            ? "waiting by itself: not hours"
            : two.technique && two.phase;
    replace(list, [
      ...[...lines, ...rest].map((two) =>
        el(
          "li",
          {},
          button([lineName(two), about(two) && el("small", {}, about(two))], () => choose(two), {
            class: !two.phase && rest.includes(two) && "plain",
            "data-k": lineName(two),
          }),
        ),
      ),
      wanted &&
        !lines.length &&
        !rest.length &&
        el("li", {}, "No technique or phase is called so. Add it under Studio, on the studio's pages."),
    ]);
  };
  update();
  return {
    title: workName(code),
    update,
    box: el(
      "div",
      {},
      el("p", {}, "Begin now with:"),
      el("label", { for: "technique" }, "Find a technique"),
      search,
      list,
    ),
  };
}
function whoView() {
  if (device.alone)
    return {
      title: "Who is logging?",
      box: el(
        "p",
        {},
        `This device logs for ${device.person}. `,
        el("a", { href: "/pair" }, "Pair it anew, or leave"),
        " ",
        el("a", { href: "/pauses" }, "Pauses"),
      ),
    };
  const name = el("input", { id: "name", autocomplete: "name", maxlength: 100 }),
    wrong = el("p", { class: "wrong", role: "alert" });
  const chosen = async (person) => {
    if (!folded(person)) {
      wrong.textContent = "Say who you are: a name above, or your own.";
      name.focus();
      return;
    }
    const act = asking;
    asking = null;
    person = state.people.find((one) => folded(one) === folded(person)) || person.trim();
    const changes = person !== kept.person;
    kept.person = person;
    await storeSelf();
    if (changes) {
      state = { ...state, person: "", entries: [], to_mend: [] };
      askAnew();
    }
    if (act) act();
    else go("#bench");
  };
  const shared = el("input", {
    type: "checkbox",
    id: "shared",
    checked: kept.shared,
    onchange: async () => {
      kept.shared = shared.checked;
      await storeSelf();
      askAnew();
    },
  });
  return {
    title: "Who is logging?",
    box: el(
      "div",
      {},
      el(
        "ul",
        { class: "list" },
        state.people.map((one) =>
          el(
            "li",
            {},
            button(one, () => chosen(one)),
          ),
        ),
      ),
      el(
        "label",
        { for: "name" },
        state.people.length ? "Somebody new" : "Your name, as it should stand in the record",
      ),
      name,
      wrong,
      el(
        "div",
        { class: "row" },
        button("This is me", () => chosen(name.value), { class: "first" }),
      ),
      !device.shared &&
        el(
          "label",
          { class: "tick" },
          shared,
          "Several people use this device: ask at each beginning, and show codes without titles",
        ),
    ),
  };
}

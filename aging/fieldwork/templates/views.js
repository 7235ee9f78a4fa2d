// Three kinds of view in a row: the start, one for each panel, and handing in.
const START = -1, END = SHEET.panels.length;
const MARKS = { ready: "✓", asks: "?", empty: "○", gone: "–" };
const TOLD = { ready: "read", asks: "a question is open", empty: "still to read", gone: "cannot be read" };
const asked = new Set();
let at = START;

const view = document.getElementById("view");

function go(place) {
  at = place;
  document.getElementById("list").classList.remove("open");
  document.getElementById("panels").setAttribute("aria-expanded", "false");
  draw();
  view.focus({ preventScroll: true });
  scrollTo(0, 0);
}

function draw() {
  view.replaceChildren(...(at === START ? startView() : at === END ? endView() : panelView(SHEET.panels[at])));
  overview();
}

/** Progress, list and buttons, from what is kept; once, however many cards ask for it in a row. */
function overview() {
  if (!overview.waits) queueMicrotask(showOverview);
  overview.waits = true;
}

function showOverview() {
  overview.waits = false;
  const states = SHEET.panels.map(stateOfPanel);
  const done = states.filter((state) => state === "ready" || state === "gone").length;
  document.getElementById("progress").textContent = `${done} of ${END} panels done` +
    (states.includes("asks") ? `, ${states.filter((state) => state === "asks").length} with a question` : "");
  document.getElementById("filled").style.width = `${100 * done / END}%`;
  document.getElementById("panels").textContent = at >= 0 && at < END ? `${at + 1} of ${END}` : "Panels";
  document.getElementById("back").disabled = at === START;
  document.getElementById("next").disabled = at === END;
  const rows = [[START, "⚑", "Start", ""], ...SHEET.panels.map((panel, place) =>
    [place, MARKS[states[place]], panel.panel, TOLD[states[place]]]), [END, "⇪", "Hand in", ""]];
  const shown = rows.filter(([place]) => !setup().todo || !states[place] || place === at ||
    ["asks", "empty"].includes(states[place]));
  document.getElementById("list").replaceChildren(
    ticked("Only what is still to read", Boolean(setup().todo), (todo) => { setUp({ todo }); overview(); }),
    el("ol", {}, ...shown.map(([place, mark, text, told]) => el("li", {},
      el("button", { type: "button", onclick: () => go(place), "aria-current": at === place && "true" },
        el("b", { "aria-hidden": "true" }, mark),
        el("span", {}, text, told && el("span", { class: "quiet" }, `, ${told}`)))))));
}

/** Go on by one panel, or to the next that is still to read; ask once before leaving a question. */
function move(step) {
  const here = SHEET.panels[at];
  const lacks = at === START ? missing() : here && stateOfPanel(here) === "asks" ? ["a question is open"] : [];
  if (step > 0 && lacks.length && !asked.has(at)) {
    asked.add(at);
    draw();
    (view.querySelector(".doubt:not(.kept)") ?? view).scrollIntoView({ block: "center" });
    say(`Not finished here: ${lacks.join(", ")}. Tap Next again to go on all the same.`);
    return;
  }
  let place = at + step;
  while (setup().todo && SHEET.panels[place] && ["ready", "gone"].includes(stateOfPanel(SHEET.panels[place]))) {
    place += step;
  }
  go(Math.max(START, Math.min(END, place)));
}

function missing() {
  const round = setup();
  return [[round.operator ?? SHEET.operator, "who reads"], [round.surface_state, "surface state"],
    [round.surface_wetness, "dry or not"]].filter(([fact]) => !fact).map(([, name]) => name);
}

function startView() {
  const round = setup();
  const change = (facts) => {
    setUp(facts);
    fillBlanks();
    overview();
  };
  const today = localMinute().slice(0, 10);
  const rigs = SHEET.rigs.map((rig, place) => rigChoice(rig, place, change));
  const methods = SHEET.properties.filter((one) => one.methods.length).map((one) =>
    choices(`${one.label}: method`, one.methods, round.methods[one.name] ?? one.method,
      (method) => change({ methods: { ...setup().methods, [one.name]: method } })));
  return [
    el("h2", {}, "Before you read"),
    today === SHEET.on ? null : el("p", { class: "doubt" }, `This sheet is for ${SHEET.on}; this phone ` +
      `says it is ${today}. Readings carry the phone's date: set its clock first if it is wrong.`),
    el("section", { class: "card" }, el("h3", {}, "Keep safe"),
      document.getElementById("cautions").content.cloneNode(true)),
    el("section", { class: "card" },
      field("Who reads", el("input", { type: "text", list: "operators", maxlength: 100, autocomplete: "off",
        value: round.operator ?? SHEET.operator,
        oninput: (event) => setUp({ operator: event.target.value.trim() }), onchange: fillBlanks })),
      el("datalist", { id: "operators" }, ...SHEET.operators.map((name) => el("option", { value: name })))),
    el("section", { class: "card" }, choices("Surface of all panels today", SHEET.states, round.surface_state,
      (surface_state) => change({ surface_state }))),
    el("section", { class: "card" }, choices("Are they dry?", SHEET.wetness, round.surface_wetness,
      (surface_wetness) => change({ surface_wetness }))),
    el("section", { class: "card" }, ...rigs, ...methods),
    el("section", { class: "card" }, ticked("Hide earlier values until I have entered mine", round.blind,
      (blind) => setUp({ blind }))),
  ].filter(Boolean);
}

function rigChoice(rig, place, change) {
  const chosen = setup().rigs[place] ?? { option: rig.options.length ? 0 : -1, other: "" };
  const names = rig.properties.map((name) => SHEET.properties.find((one) => one.name === name).label);
  const set = (facts) => {
    change({ rigs: { ...setup().rigs, [place]: { ...chosen, ...facts } } });
    draw();
  };
  return el("div", {},
    field(`Instrument for ${names.join(", ").toLowerCase()}`, el("select", {
      onchange: (event) => set({ option: Number(event.target.value) }) },
    ...rig.options.map((option, value) => el("option", { value, selected: chosen.option === value },
      optionText(option))),
    el("option", { value: -1, selected: chosen.option < 0 }, "another one"))),
    chosen.option < 0 ? field("Which one", el("input", { type: "text", maxlength: 100, value: chosen.other ?? "",
      onchange: (event) => set({ other: event.target.value.trim() }) })) : null);
}

const optionText = (option) => Object.entries(option).map(([name, value]) =>
  name === "observer_deg" ? `${value}°` : value).join(", ");

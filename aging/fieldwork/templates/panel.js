// One panel: its surface, a card for each property, a remark, and why it cannot be read.
function panelView(panel) {
  const place = [panel.rack && `rack ${panel.rack}`, panel.position && `position ${panel.position}`];
  return [
    el("h2", {}, panel.panel),
    el("p", { class: "quiet" }, place.filter(Boolean).join(", "),
      panel.kind === "exposed" ? null : el("span", { class: "chip" }, words(panel.kind))),
    surfaceCard(panel),
    ...propertiesOf(panel).map((property) => propertyCard(panel, property)),
    field("Remark", el("textarea", { maxlength: 500,
      oninput: (event) => describe(panel, { remark: event.target.value }) },
    about(panel.panel).remark ?? "")),
    cannotCard(panel),
  ];
}

/** Facts of the panel, for each of its readings that is not handed in yet. */
function describe(panel, facts) {
  put(`p/${panel.panel}`, { ...about(panel.panel), ...facts });
  for (const record of records().filter((one) => one.panel === panel.panel && !one.handed_in)) {
    Object.assign(record, facts);
    saveReading(record);
  }
  for (const card of view.querySelectorAll("section[data-property]")) card.refresh();
}

function surfaceCard(panel) {
  const said = (name) => about(panel.panel)[name] ?? setup()[name];
  const group = (legend, options, name) =>
    choices(legend, options, said(name), (value) => describe(panel, { [name]: value }));
  const both = [group("Surface of this panel", SHEET.states, "surface_state"),
    group("Is it dry?", SHEET.wetness, "surface_wetness")];
  if (!said("surface_state") || !said("surface_wetness")) {
    return el("section", { class: "card" }, ...both);
  }
  return el("details", { class: "card" }, el("summary", {},
    `Surface ${words(said("surface_state"))}, ${said("surface_wetness")}: change`), ...both);
}

function propertyCard(panel, property) {
  const readings = standing(panel.panel, property.name);
  const record = readings.at(-1) ?? newRecord(panel.panel, property.name);
  const rated = property.steps.length > 0, locked = Boolean(record.handed_in);
  const show = (value, more = 0) => value.toFixed(property.decimals + more);
  const past = el("p", { class: "quiet" });
  const told = el("p", { class: "worked" });
  const questions = el("div", { "aria-live": "polite" });
  const card = el("section", { class: "card", "data-property": property.name });

  const save = () => { fillIn(record); saveReading(record); };
  const changed = () => { save(); card.refresh(); };
  const typed = () => {
    record.kept = {};
    save();
    tell();
    clearTimeout(card.timer);
    card.timer = setTimeout(card.refresh, 900); // so that nothing moves under a finger
  };
  const tell = () => {
    const w = worked(record);
    told.textContent = rated || !w.n || w.bad.length ? "" : `Mean ${show(w.mean)}` +
      (w.n > 1 ? `, SD ${show(w.sd, 1)}, range ${show(w.range)}` : "") +
      `; ${w.n} of ${Math.max(property.spots, w.n)} spots`;
  };
  card.refresh = () => {
    tell();
    const last = panel.earlier[property.name], band = expected(property, panel);
    const hidden = setup().blind && !worked(record).filled.length;
    past.textContent = hidden ? "" : !last ? "Not read before." : `Last ${show(last.value)} on ` +
      `${last.on}${band && Number.isFinite(band[1]) ? `, expect ${show(band[0])} to ${show(band[1])}` : ""}`;
    questions.replaceChildren(...doubts(record, property, panel).map((one) =>
      doubtBox(one, record, one.mend ? () => { save(); draw(); } : changed)));
    overview();
  };

  while (!locked && record.spots.length < (rated ? 1 : property.spots)) {
    record.spots.push({ text: "", dirty: false });
  }
  card.append(el("h3", {}, `${property.label}${property.unit && `, ${property.unit}`}`), past);
  if (rated) {
    card.append(choices("Rating", property.steps, record.spots[0]?.text, (step) => {
      record.edited += record.spots[0].text !== "";
      record.spots[0].text = String(step);
      typed();
    }, { kind: "steps", disabled: locked, undo: true }));
  } else card.append(...spots(record, property, locked, typed), told);
  if (property.name === "blistering") {
    card.append(choices("How many blisters", SHEET.blister_frequencies, record.blister_frequency,
      (frequency) => { record.blister_frequency = frequency; changed(); }, { disabled: locked }));
  }
  if (locked) card.append(correction(record));
  card.append(questions, ...readings.slice(0, -1).map((other) => el("p", { class: "doubt" },
    `Also read at ${other.read_on.slice(11)} by ${other.operator || "another"}: ` +
    `${other.spots.map((spot) => spot.text).join("; ")}. Both are kept.`)));
  card.refresh();
  return card;
}

/** Inputs of the spots, and below them the buttons for one more and for a dirty one. */
function spots(record, property, locked, typed) {
  const grid = el("div", { class: "spots" });
  const add = (spot, place) => {
    const id = `spot-${ids++}`;
    let before = spot.text;
    const cell = el("div", { class: spot.dirty ? "spot dirty" : "spot" },
      el("label", { for: id }, `Spot ${place + 1}`),
      el("input", { id, class: "value", type: "text", inputmode: "decimal", enterkeyhint: "next",
        autocomplete: "off", maxlength: 20, value: spot.text, disabled: locked,
        "aria-label": `${property.label}, spot ${place + 1}`,
        oninput: (event) => { spot.text = event.target.value; typed(); },
        onchange: () => {
          if (before !== "" && before !== spot.text) { record.edited += 1; typed(); }
          before = spot.text;
        },
        onkeydown: (event) => { if (event.key === "Enter") nextInput(event.target); } }),
      ticked("dirty", spot.dirty, (dirty) => {
        spot.dirty = dirty;
        cell.classList.toggle("dirty", dirty);
        typed();
      }, locked));
    grid.append(cell);
  };
  record.spots.forEach(add);
  const marking = () => grid.classList.add("marking");
  if (record.spots.some((spot) => spot.dirty)) marking();
  return locked ? [grid] : [grid, el("div", { class: "row" },
    button("One more spot", () => {
      record.spots.push({ text: "", dirty: false });
      add(record.spots.at(-1), record.spots.length - 1);
      grid.lastChild.querySelector("input").focus();
    }),
    button("A spot is dirty", () => {
      marking();
      say("Tick the dirty spot: it is kept apart, not counted.");
    }))];
}

function nextInput(input) {
  const all = [...view.querySelectorAll("input.value")];
  (all[all.indexOf(input) + 1] ?? document.getElementById("next")).focus();
}

/** A reading that was handed in stays as it is; another one may take its place, with a reason. */
function correction(record) {
  const reason = el("input", { type: "text", maxlength: 200 });
  return el("details", {}, el("summary", {}, "Handed in: correct it"),
    field("Why it was wrong", reason), button("Correct it", () => {
      if (!reason.value.trim()) return say("Say first why it was wrong.");
      const { reading_id: supersedes, ...facts } = structuredClone(record);
      return saveAndDraw(newRecord(record.panel, record.property, { ...facts, supersedes,
        reason: reason.value.trim(), reading_id: uuid(), handed_in: "", earlier: [], edited: 0 }));
    }));
}

function saveAndDraw(record) {
  saveReading(record);
  draw();
}

const CANNOT = ["lost", "damaged", "not found"];

function cannotCard(panel) {
  const told = notRead(panel.panel) ?? { panel: panel.panel, reason: "", remark: "", handed_in: "" };
  const save = (facts) => {
    Object.assign(told, facts, { at: told.at ?? localMinute(), changed_at: new Date().toISOString(),
      operator: setup().operator ?? SHEET.operator });
    put(`n/${panel.panel}`, told);
    overview();
  };
  const disabled = Boolean(told.handed_in);
  return el("details", { class: "card", open: Boolean(told.reason) },
    el("summary", {}, disabled ? "Cannot be read: handed in" : "This panel cannot be read"),
    choices("Because it is", CANNOT, told.reason, (reason) => save({ reason }), { disabled, undo: true }),
    field("What you see", el("textarea", { maxlength: 500, disabled,
      oninput: (event) => save({ remark: event.target.value }) }, told.remark)));
}

// The round file: out by download or clipboard, and in again; nothing that is here is ever dropped.
const FORMAT = "round-file", VERSION = 1;
const COLUMNS = ["reading_id", "panel", "property", "read_on", "surface_state", "surface_wetness", "method",
  "instrument", "weighting", "illuminant", "observer_deg", "geometry", "blister_frequency", "operator", "remark",
  "supersedes", "reason", "edited"];

function row(record) {
  const w = worked(record), sound = w.n && !w.bad.length;
  const property = SHEET.properties.find((one) => one.name === record.property);
  const facts = Object.fromEntries(COLUMNS.map((name) => [name, record[name] ?? ""]));
  facts.value = sound ? w.mean : w.filled.map((spot) => spot.text).join(" ");
  if (sound && !property.steps.length) {
    Object.assign(facts, { spot_values: w.clean, spots: w.n, spot_sd: w.sd, contaminated_spot_values: w.dirty });
  }
  const kept = Object.entries(record.kept).filter(([, reason]) => reason);
  return { ...facts, kept: kept.map(([rule, reason]) => ({ rule, reason })), entry: record };
}

/** All that was entered; what is ready is from now on handed in and changes by corrections only. */
function roundFile() {
  const now = new Date().toISOString();
  const panels = new Map(SHEET.panels.map((panel) => [panel.panel, panel]));
  const filled = records().filter((one) => worked(one).filled.length);
  for (const record of filled.filter((one) => !one.handed_in)) {
    const property = SHEET.properties.find((one) => one.name === record.property);
    if (openDoubts(record, property, panels.get(record.panel)).length) continue;
    record.handed_in = now;
    saveReading(record);
  }
  const gone = [...known.entries()].filter(([key, one]) => key.startsWith("n/") && one.reason);
  for (const [key, one] of gone) put(key, { ...one, handed_in: one.handed_in || now });
  return JSON.stringify({ format: FORMAT, version: VERSION,
    sheet: { sheet_id: SHEET.sheet_id, site: SHEET.site, on: SHEET.on }, exported_at: now,
    readings: filled.map(row), not_read: gone.map(([key]) => known.get(key)) }, null, 1);
}

function download() {
  const url = URL.createObjectURL(new Blob([roundFile()], { type: "application/json" }));
  const name = `round-${SHEET.site}-${localMinute().replace(/[^0-9T]/g, "")}.json`.replace(/[^\w.-]+/g, "_");
  const link = el("a", { href: url, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(url), 60000);
  draw();
  say(`Saved as ${name}. Look for it in the downloads and send it.`);
}

async function copy() {
  const text = roundFile();
  try {
    await navigator.clipboard.writeText(text);
    draw();
    say("Copied. Paste it into a message.");
  } catch {
    draw();
    const box = el("textarea", { readonly: true, rows: 8 }, text);
    view.append(field("Copy all of this into a message", box));
    box.select();
    box.scrollIntoView();
  }
}

const isText = (value, most) => typeof value === "string" && value.length <= most;

/** A clean copy of an entry of a file, or null for what this sheet cannot have written. */
function entryOf(one) {
  const entry = one?.entry;
  const ours = entry && /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/.test(entry.reading_id) &&
    SHEET.panels.some((panel) => panel.panel === entry.panel) &&
    SHEET.properties.some((property) => property.name === entry.property) &&
    isText(entry.changed_at, 30) && isText(entry.read_on, 30) && Array.isArray(entry.spots) &&
    entry.spots.every((spot) => isText(spot?.text, 20)) && typeof entry.kept === "object" && entry.kept;
  return ours ? { ...newRecord(entry.panel, entry.property), ...entry,
    earlier: Array.isArray(entry.earlier) ? entry.earlier : [] } : null;
}

function bringIn(text) {
  let file;
  try {
    file = JSON.parse(text);
  } catch {
    return say("This is no whole round file. Save it anew on the other phone.");
  }
  if (file?.format !== FORMAT || file.version !== VERSION || !Array.isArray(file.readings)) {
    return say("This is no round file of this kind of sheet.");
  }
  let fresh = 0, strange = 0;
  for (const one of file.readings) {
    const theirs = entryOf(one), ours = theirs && known.get(`r/${theirs.reading_id}`);
    if (!theirs) strange++;
    else if (!ours || theirs.changed_at > ours.changed_at) {
      if (ours) theirs.earlier = [...theirs.earlier, gist(ours)];
      fresh += !ours;
      put(`r/${theirs.reading_id}`, theirs);
    } else if (theirs.changed_at < ours.changed_at &&
      !ours.earlier.some((past) => past.changed_at === theirs.changed_at)) {
      put(`r/${ours.reading_id}`, { ...ours, earlier: [...ours.earlier, gist(theirs)] });
    }
  }
  for (const one of Array.isArray(file.not_read) ? file.not_read : []) {
    const here = SHEET.panels.some((panel) => panel.panel === one?.panel) && CANNOT.includes(one.reason) &&
      isText(one.remark, 500) && isText(one.at, 30) && isText(one.changed_at, 30);
    if (!here) strange++;
    else if (!(notRead(one.panel)?.changed_at >= one.changed_at)) put(`n/${one.panel}`, one);
  }
  draw();
  return say(`${file.readings.length} readings in the file, ${fresh} new here` +
    (strange ? `; ${strange} do not belong to this sheet and stay in the file only.` : "."));
}

function endView() {
  const rest = SHEET.panels.map((panel, place) => [place, panel.panel, stateOfPanel(panel)])
    .filter(([, , state]) => state === "asks" || state === "empty");
  const picked = el("input", { type: "file", accept: ".json,application/json", id: "bring",
    onchange: async ({ target }) => {
      const text = await target.files[0].text();
      target.value = ""; // or the same file could not be picked again
      bringIn(text);
    } });
  return [
    el("h2", {}, "Hand in"),
    el("section", { class: "card" },
      el("p", {}, "The round file holds everything entered so far. Save it as often as you like: " +
        "each reading counts once. What was handed in can still be corrected, with a reason."),
      el("div", { class: "row" }, button("Save the round file", download, { class: "main" }),
        button("Copy it instead", copy))),
    el("section", { class: "card" },
      el("h3", {}, rest.length ? `Panels not finished: ${rest.length}` : "All panels are done"),
      el("div", { class: "choices" }, ...rest.slice(0, 6).map(([place, name, state]) =>
        button(`${name}: ${TOLD[state]}`, () => go(place)))),
      rest.length > 6 ? el("p", { class: "quiet" }, "The list of panels shows them all.") : null),
    el("section", { class: "card" },
      field("Bring in a round file, from this phone or another", picked),
      el("p", { class: "quiet" }, "It is added to what is here; of two edits the later one counts.")),
  ];
}

function otherTab(event) {
  if (event.key === null) return known.forEach((fact, key) => put(key, fact)); // somebody cleared all
  if (!event.key.startsWith(PREFIX)) return undefined;
  const key = event.key.slice(PREFIX.length), fact = stored(key);
  if (fact === null) return put(key, known.get(key));
  known.set(key, fact);
  const inputs = () => [...view.querySelectorAll("input, textarea, select, button")];
  const place = inputs().indexOf(document.activeElement);
  draw();
  if (place >= 0) inputs()[place]?.focus();
  return say("Another tab of this sheet is in use; its entries are shown here too.");
}

load();
addEventListener("storage", otherTab);
document.getElementById("back").addEventListener("click", () => move(-1));
document.getElementById("next").addEventListener("click", () => move(1));
document.getElementById("panels").addEventListener("click", (event) => {
  const opened = document.getElementById("list").classList.toggle("open");
  event.target.setAttribute("aria-expanded", String(opened));
  document.querySelector(opened ? "nav [aria-current]" : "main")?.scrollIntoView({ block: "center" });
});
navigator.storage?.persist?.().catch(() => {});
const named = SHEET.panels.findIndex(({ panel }) =>
  [panel, encodeURIComponent(panel)].includes(location.hash.slice(1)));
go(named < 0 ? START : named);

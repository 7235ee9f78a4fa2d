"use strict";
// Every entry is kept at once under a key of its own, so that two tabs never overwrite each other.
const SHEET = JSON.parse(document.getElementById("facts").textContent);
const PREFIX = `aging-round/${SHEET.sheet_id}/`;
const known = new Map();
const unkept = new Set();
let unread = 0;

function uuid() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 15) | 64;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

function localMinute(date = new Date()) {
  const two = (number) => String(number).padStart(2, "0");
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}` +
    `T${two(date.getHours())}:${two(date.getMinutes())}`;
}

function stored(key) {
  try {
    return JSON.parse(localStorage.getItem(PREFIX + key));
  } catch {
    return null;
  }
}

function put(key, fact) {
  known.set(key, fact);
  unkept.add(key);
  for (const one of [...unkept]) {
    try {
      localStorage.setItem(PREFIX + one, JSON.stringify(known.get(one)));
      unkept.delete(one);
    } catch { /* told by alarm() below */ }
  }
  alarm();
}

function load() {
  unread = 0;
  try {
    for (let place = 0; place < localStorage.length; place++) {
      const key = localStorage.key(place);
      if (!key.startsWith(PREFIX)) continue;
      const fact = stored(key.slice(PREFIX.length));
      if (fact === null) unread++;
      else known.set(key.slice(PREFIX.length), fact);
    }
    localStorage.setItem("aging-round", "kept");
  } catch {
    unkept.add("setup");
    known.set("setup", known.get("setup") ?? {});
  }
  alarm();
}

function alarm() {
  const box = document.getElementById("alarm");
  const told = [];
  if (unkept.size) told.push("This browser keeps NOTHING of the latest entries (its storage is off" +
    " or full). They stand on this screen only: do not close it, and save the round file now.");
  if (unread) told.push(`${unread} kept entries cannot be read any more. Tell the desk.`);
  box.textContent = told.join(" ");
  box.hidden = !told.length;
}

const setup = () => ({ blind: true, rigs: {}, methods: {}, ...known.get("setup") });
const setUp = (facts) => put("setup", { ...setup(), ...facts });
const about = (panel) => known.get(`p/${panel}`) ?? {};
const propertiesOf = (panel) => SHEET.properties.filter((one) => panel.properties.includes(one.name));
const notRead = (panel) => known.get(`n/${panel}`);

function records() {
  const all = [];
  for (const [key, fact] of known) if (key.startsWith("r/")) all.push(fact);
  return all;
}

/** Readings of a property on a panel that nothing supersedes, the latest last. */
function standing(panel, property) {
  const mine = records().filter((one) => one.panel === panel && one.property === property);
  const replaced = new Set(mine.map((one) => one.supersedes));
  return mine.filter((one) => !replaced.has(one.reading_id))
    .sort((one, other) => (one.changed_at < other.changed_at ? -1 : 1));
}

function newRecord(panel, property, more = {}) {
  return { reading_id: uuid(), panel, property, spots: [], read_on: localMinute(), kept: {},
    edited: 0, earlier: [], changed_at: "", handed_in: "", supersedes: "", reason: "", ...more };
}

/** What a record says, for its history. */
const gist = (one) => ({ spots: one.spots, kept: one.kept, changed_at: one.changed_at });

function saveReading(record) {
  const other = stored(`r/${record.reading_id}`);
  if (other && other.changed_at !== record.changed_at) {
    record.earlier = [...other.earlier, gist(other)];
    say(`Another tab had changed ${record.panel} too: its entry is kept in the history.`);
  }
  const now = new Date().toISOString();
  record.changed_at = other && now <= other.changed_at
    ? new Date(Date.parse(other.changed_at) + 1).toISOString() : now;
  put(`r/${record.reading_id}`, record);
}

/** Fill in what the round says of a reading: who, with what, on which surface. Blanks only. */
function fillIn(record) {
  const round = setup();
  const property = SHEET.properties.find((one) => one.name === record.property);
  const rig = SHEET.rigs.findIndex((one) => one.properties.includes(record.property));
  const panel = about(record.panel);
  const facts = { operator: round.operator ?? SHEET.operator, ...rigOf(rig),
    method: property.methods.length ? round.methods[record.property] ?? property.method : "",
    surface_state: panel.surface_state ?? round.surface_state,
    surface_wetness: panel.surface_wetness ?? round.surface_wetness, remark: panel.remark };
  for (const [name, value] of Object.entries(facts)) record[name] ||= value;
}

/** What was chosen late goes into the readings that lack it. */
function fillBlanks() {
  for (const record of records().filter((one) => !one.handed_in)) {
    const before = JSON.stringify(record);
    fillIn(record);
    if (JSON.stringify(record) !== before) saveReading(record);
  }
}

function rigOf(place) {
  if (place < 0) return {};
  const chosen = setup().rigs[place] ?? { option: SHEET.rigs[place].options.length ? 0 : -1 };
  return chosen.option < 0 ? { instrument: chosen.other } : SHEET.rigs[place].options[chosen.option];
}

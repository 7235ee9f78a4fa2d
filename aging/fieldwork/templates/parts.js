// Pieces of the page. Text from people goes in as text, never as markup.
function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (value === true) node.setAttribute(name, "");
    else if (value !== false && value !== undefined) node.setAttribute(name, value);
  }
  node.append(...children.filter((child) => child !== null && child !== ""));
  return node;
}

let ids = 0;
const button = (text, onclick, more = {}) => el("button", { type: "button", onclick, ...more }, text);
const words = (name) => name.replaceAll("_", " ");

function say(text) {
  const line = document.getElementById("say");
  line.textContent = text;
  clearTimeout(say.timer);
  say.timer = setTimeout(() => { line.textContent = ""; }, 6000);
}

/** One of a few, as large buttons. `options` are values; pick("") where `undo` takes it back. */
function choices(legend, options, chosen, pick, { kind = "", disabled = false, undo = false } = {}) {
  const name = `choice-${ids++}`;
  let current = chosen;
  const buttons = options.map((value) => el("label", { class: "choice" },
    el("input", { type: "radio", name, value, checked: String(value) === String(chosen ?? ""), disabled,
      onclick: (event) => {
        if (undo && String(current) === String(value)) {
          event.target.checked = false;
          current = "";
        } else current = value;
        pick(current);
      } }), el("span", {}, words(String(value)))));
  return el("fieldset", {}, el("legend", {}, legend), el("div", { class: `choices ${kind}` }, ...buttons));
}

function field(label, input) {
  return el("label", { class: "field" }, label, input);
}

function ticked(label, checked, change, disabled = false) {
  return el("label", { class: "switch" }, el("input", { type: "checkbox", checked, disabled,
    onchange: (event) => change(event.target.checked) }), el("span", {}, label));
}

const REASONS = ["read again, same value", "other spots, same value", "the panel looks like it"];

/** A question about a reading, and the ways to answer it. */
function doubtBox(doubt, record, changed) {
  const kept = record.kept[doubt.rule];
  const box = el("div", { class: `doubt ${doubt.severity} ${kept ? "kept" : ""}`, "data-rule": doubt.rule },
    el("p", {}, doubt.text));
  if (doubt.mend) {
    box.append(button("Divide by 100", () => { doubt.mend(); changed(true); }));
  }
  if (doubt.severity === "block" || record.handed_in) return box;
  const keep = (reason) => { record.kept = { ...record.kept, [doubt.rule]: reason }; changed(); };
  if (kept) {
    box.append(el("p", {}, `Kept: ${kept}.`), button("Take back", () => keep("")));
    return box;
  }
  const other = el("input", { type: "text", maxlength: 200, enterkeyhint: "done" });
  const own = () => { if (other.value.trim()) keep(other.value.trim()); };
  other.addEventListener("keydown", (event) => { if (event.key === "Enter") own(); });
  box.append(el("details", {}, el("summary", {}, "Keep it, with a reason"),
    el("div", { class: "choices" }, ...REASONS.map((reason) => button(reason, () => keep(reason)))),
    field("Another reason", other), button("Keep for this reason", own)));
  return box;
}

// What a phone can tell of a reading while the panel is at hand. Rules have the names of the desk's.
function number(text) {
  return /^[+-]?(\d+([.,]\d*)?|[.,]\d+)$/.test(text.trim())
    ? Number(text.trim().replace(",", ".")) : NaN;
}

/** Mean, sample standard deviation and range of the clean spots. */
function worked(record) {
  const filled = record.spots.filter((spot) => spot.text.trim() !== "");
  const values = (some) => some.map((spot) => number(spot.text));
  const clean = values(filled.filter((spot) => !spot.dirty));
  const n = clean.length;
  const mean = clean.reduce((sum, value) => sum + value, 0) / n;
  const sd = Math.sqrt(clean.reduce((sum, value) => sum + (value - mean) ** 2, 0) / (n - 1));
  return { filled, clean, dirty: values(filled.filter((spot) => spot.dirty)), n,
    mean: Number(mean.toPrecision(12)), sd: n > 1 ? Number(sd.toPrecision(6)) : null,
    range: n ? Math.max(...clean) - Math.min(...clean) : null,
    bad: filled.filter((spot) => Number.isNaN(number(spot.text))) };
}

/** Lowest and highest value that the panel's last one leads to expect; null where nothing is known. */
function expected(property, panel) {
  const past = panel.earlier[property.name], limits = property.limits;
  if (!past) return null;
  if (panel.kind === "file_specimen") {
    return limits.still ? [past.value - limits.still, past.value + limits.still] : null;
  }
  if (!limits.falls) return null;
  const perMonth = limits.falls.find(([until]) => until === null || panel.months <= until)[1];
  const rained = past.rain_mm !== null && past.rain_mm >= limits.rain_mm;
  const rise = past.washed ? Infinity : rained ? limits.rises_after_rain : limits.rises;
  return [past.value - perMonth * Math.max(past.gap, 1), past.value + rise, perMonth];
}

function doubts(record, property, panel) {
  const found = [], limits = property.limits, w = worked(record);
  const show = (value) => value.toFixed(property.decimals);
  const block = (rule, text, mend) => found.push({ rule, severity: "block", text, mend });
  const ask = (rule, text) => found.push({ rule, severity: "confirm", text });
  if (!w.filled.length) return found;
  if (w.bad.length) {
    block("not-a-number", `“${w.bad[0].text}” is no number. Type it like 0.812 or 0,812.`);
    return found;
  }
  if (!w.n) {
    block("missing-value", "Every spot is contaminated. Read a clean one, or say below why not.");
    return found;
  }
  surface(record, block, ask);
  if (property.methods.length && !record.method) {
    block("missing-value", "Which method was it rated by? Choose it on the first page.");
  }
  const fraction = property.unit === "fraction";
  const percent = (value) => fraction && value > 1.5 && value <= 100;
  const outside = w.clean.find((value) => value < limits.low || value > limits.high);
  if (w.clean.some(percent)) {
    block("percent-for-fraction", `${w.clean.find(percent)} looks like a percentage. ` +
      "This is a fraction from 0 to 1.", () => {
      for (const spot of record.spots) {
        if (percent(number(spot.text))) {
          spot.text = String(Number((number(spot.text) / 100).toPrecision(12)));
        }
      }
    });
    return found;
  }
  if (outside !== undefined) {
    block("out-of-range", `${outside} cannot be: it lies between ${limits.low} and ${limits.high}.`);
    return found;
  }
  if (w.mean < limits.usual_low || w.mean > limits.usual_high) {
    ask("unusual", `${show(w.mean)} is unusual. Such coatings read ${limits.usual_low} to ` +
      `${limits.usual_high}.`);
  }
  if (record.surface_state === "as_exposed") jumps(w, property, panel, show, ask);
  if (record.surface_state === "as_exposed") apart(w, property, panel, show, ask);
  const fresh = panel.months !== null && panel.months <= limits.new_months;
  const spread = fresh ? limits.spot_range_new : limits.spot_range_aged;
  if (spread && w.range > spread + 1e-9) {
    ask("spots", `The spots differ by ${show(w.range)}, more than ${spread}. Look for a label, an ` +
      "edge, droppings or a streak; read that spot again or another one.");
  }
  return found;
}

function surface(record, block, ask) {
  if (!record.surface_state) block("missing-value", "Choose the surface state above.");
  if (!record.surface_wetness) block("missing-value", "Choose above whether the surface is dry.");
  if (record.surface_wetness === "wet") {
    block("wet-surface", "A wet panel reads too low. Come back when it is dry and choose “dry”.");
  }
  if (record.surface_wetness === "damp") {
    ask("wet-surface", "A damp panel may read too low. Better come back when it is dry.");
  }
}

function jumps(w, property, panel, show, ask) {
  const band = expected(property, panel), past = panel.earlier[property.name];
  if (!band) return;
  const limits = property.limits, [least, most, perMonth] = band;
  const from = `${show(past.value)} on ${past.on} to ${show(w.mean)}`;
  if (panel.kind === "file_specimen") {
    if (w.mean < least - 1e-9 || w.mean > most + 1e-9) {
      ask("file-specimens", `From ${from}: a file specimen should not move. Check the tile.`);
    }
    return;
  }
  if (w.mean < least - 1e-9) {
    ask("fell-fast", `Fell from ${from}, more than ${perMonth} a month. Is it this panel? Is it ` +
      "dry? Read it again.");
  }
  const again = past.initial !== null && w.mean >= limits.like_washed * past.initial;
  if (past.initial !== null && w.mean > past.initial + limits.above_new + 1e-9) {
    ask("above-new", `${show(w.mean)} is above the ${show(past.initial)} it read when new. Check ` +
      "panel and tile; read it again.");
  } else if (w.mean > most + 1e-9 && again) {
    ask("like-washed", `Rose from ${from}, nearly as new. Was it washed or recoated? Then change ` +
      "the surface state above.");
  } else if (w.mean > most + 1e-9) {
    ask("rose", `Rose from ${from}. Is it this panel? Was it washed? Read it again.`);
  }
}

/** Replicates of this visit that scatter too much: the one farthest from their median is asked about. */
function apart(w, property, panel, show, ask) {
  const limits = property.limits;
  if (!limits.replicates || panel.kind !== "exposed") return;
  const others = SHEET.panels.filter((one) => one.alike === panel.alike && one !== panel)
    .map((one) => standing(one.panel, property.name).at(-1))
    .filter((one) => one?.surface_state === "as_exposed").map(worked)
    .filter((one) => one.n && !one.bad.length).map((one) => one.mean)
    .filter((mean) => mean >= limits.low && mean <= limits.high);
  const all = [w.mean, ...others].sort((one, other) => one - other), n = all.length;
  if (n < limits.replicates) return;
  const mean = all.reduce((sum, value) => sum + value, 0) / n;
  const sd = Math.sqrt(all.reduce((sum, value) => sum + (value - mean) ** 2, 0) / (n - 1));
  const middle = (all[(n - 1) >> 1] + all[n >> 1]) / 2;
  const most = panel.months <= limits.new_months ? limits.replicates_new : limits.replicates_aged;
  const off = Math.abs(w.mean - middle);
  if (sd <= most + 1e-9 || all.some((value) => Math.abs(value - middle) > off + 1e-9)) return;
  ask("replicates", `${show(w.mean)} is far from the ${show(middle)} that is the middle of its ` +
    `${n} like panels (standard deviation ${show(sd)}, up to ${most} is usual). Is it this panel? ` +
    "Read it again.");
}

const openDoubts = (record, property, panel) =>
  doubts(record, property, panel).filter((one) => one.severity === "block" || !record.kept[one.rule]);

/** "empty", "asks" (a question is open) or "ready". */
function stateOf(panel, property) {
  const record = standing(panel.panel, property.name).at(-1);
  if (!record || !worked(record).filled.length) return "empty";
  return openDoubts(record, property, panel).length ? "asks" : "ready";
}

/** "gone" (cannot be read), "empty" (still to read), "asks" or "ready". */
function stateOfPanel(panel) {
  if (notRead(panel.panel)?.reason) return "gone";
  const states = propertiesOf(panel).map((property) => stateOf(panel, property));
  return ["asks", "empty"].find((state) => states.includes(state)) ?? "ready";
}

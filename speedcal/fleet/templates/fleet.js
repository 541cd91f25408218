(() => {
  "use strict";
  const data = JSON.parse(document.getElementById("data").textContent);
  const word = data.words, page = 100, day = 86400000;
  const [WRONG, NEW, CHANGED, JUDGED] = [1, 2, 4, 8];
  const rows = data.rows.map((r, i) => ({
    i, name: r[0], drives: r[1], trust: r[2], flags: r[3], error: r[4] || null, judged: r[5], cost: r[6], way: r[7],
    action: r[8], told: r[9].map((t) => data.texts[t]), factor: r[10] || null, odometer: r[11],
    points: r[12], changes: r[13],
  }));
  rows.forEach((r) => { r.text = [r.name, data.actions[r.action] || "", ...r.told].join(" ").toLowerCase(); });
  const order = new Intl.Collator("en", { numeric: true });
  [...rows].sort((a, b) => order.compare(a.name, b.name)).forEach((r, place) => { r.place = place; });
  const byError = rows.filter((r) => r.error).sort((a, b) => a.error[0] - b.error[0]);
  const at = (id) => document.getElementById(id);
  const lists = [
    ["all", () => true], ["wrong", (r) => r.flags & WRONG], ["new", (r) => r.flags & NEW],
    ["changed", (r) => r.flags & CHANGED], ["open", (r) => r.error && !(r.flags & JUDGED)], ["lost", (r) => r.trust === 0],
  ].filter(([name]) => name !== "new" || data.compared);
  const sorts = {
    by_cost: (a, b) => b.cost - a.cost || a.i - b.i,
    by_error: (a, b) => size(b) - size(a) || a.i - b.i,
    by_name: (a, b) => a.place - b.place,
  };
  const size = (r) => (r.error ? Math.abs(r.error[0]) : -1);
  const choose = (id, items) => items.forEach(([value, text]) => at(id).add(new Option(text, value)));
  choose("list", lists.map(([name, keep]) => [name, `${word[name]} (${rows.filter(keep).length})`]));
  choose("trust", [["", word.any_trust], ["2", "TRUSTED"], ["1", "WEAK"]]);
  const used = [...new Set(rows.map((r) => r.action))].filter((a) => a >= 0);
  choose("action", [["", word.any_action], ...used.map((a) => [String(a), data.actions[a]])]);
  choose("sort", Object.keys(sorts).map((name) => [name, word[name]]));
  if (rows.some((r) => r.flags & WRONG)) at("list").value = "wrong";

  const percent = (x) => {
    const text = Math.abs(x / 1000).toFixed(1);
    return (Number(text) === 0 ? "" : x < 0 ? "−" : "+") + text;
  };
  const spread = (e) => `${percent(e[0])} % (${percent(e[1])} to ${percent(e[2])})`;
  const round = (x) => x.toLocaleString("en", { maximumFractionDigits: x < 100 ? 1 : 0 });
  const make = (tag, attributes = {}, ...inside) => {
    const element = document.createElement(tag);
    Object.entries(attributes).forEach(([key, value]) => element.setAttribute(key, value));
    element.append(...inside);
    return element;
  };
  const draw = (tag, attributes, text) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
    Object.entries(attributes).forEach(([key, value]) => element.setAttribute(key, value));
    if (text !== undefined) element.textContent = text;
    return element;
  };

  let shown = [], length = 0, places = [];
  const select = () => {
    const words = at("word").value.toLowerCase().split(/\s+/).filter(Boolean);
    const keep = lists.find(([name]) => name === at("list").value)[1];
    const trust = at("trust").value, action = at("action").value;
    shown = rows.filter((r) => keep(r) && (trust === "" || r.trust === Number(trust))
      && (action === "" || r.action === Number(action)) && words.every((w) => r.text.includes(w)));
    shown.sort(sorts[at("sort").value]);
    length = 0;
    at("rows").replaceChildren();
    at("touched").replaceChildren();
    at("touched").hidden = true;
    at("count").textContent = shown.length ? `${round(shown.length)} ${word.of} ${round(rows.length)} ${word.shown}` : word.none;
    extend();
    picture();
  };
  const extend = () => {
    const next = shown.slice(length, length + page);
    at("rows").append(...next.map(line));
    length += next.length;
    at("more").hidden = length >= shown.length;
  };
  const line = (r) => {
    const name = make("span", {}, make("b", {}, r.name));
    if (r.flags & WRONG) name.append(make("span", { class: "tag" }, word.is_wrong));
    if (r.flags & NEW) name.append(make("span", { class: "tag" }, word.is_new));
    const cost = r.judged === "odometer" ? `${round(r.cost)} ${data.unit} ${word.in} ${round(r.way)}` : "";
    const head = make("button", { type: "button", class: `head${r.flags & WRONG ? " wrong" : ""}`, "aria-expanded": "false" },
      name, make("span", { class: "number" }, r.error ? spread(r.error) : word.no_number),
      make("span", { class: "number cost" }, cost), make("span", { class: "doing" }, data.actions[r.action] || ""));
    const item = make("li", {}, head);
    head.addEventListener("click", () => toggle(item, head, r));
    return item;
  };
  const toggle = (item, head, r) => {
    const open = head.getAttribute("aria-expanded") === "true";
    head.setAttribute("aria-expanded", String(!open));
    if (open) item.lastChild.remove();
    else item.append(inside(r));
  };
  const inside = (r) => {
    const list = make("ul");
    const say = (text) => list.append(make("li", {}, text));
    say(`${r.drives} ${r.drives === 1 ? word.drive : word.drives}${r.trust ? `, ${["", "WEAK", "TRUSTED"][r.trust]}` : ""}`);
    const hundred = (x) => (100 * x).toFixed(1);
    if (r.odometer) say(`${word.odometer} ${hundred(r.odometer)} ${data.unit} ${word.for_true}`);
    if (r.factor) say(`${word.speed} ${hundred(r.factor[0])} ${word.for_true_speed} (${hundred(r.factor[1])} to ${hundred(r.factor[2])}), ${word.aside}`);
    if (r.factor) say(r.flags & JUDGED || !r.judged ? word[`judged_${r.judged}`] : word.untested);
    r.told.forEach(say);
    const box = make("div", { class: "open" });
    box.append(r.points.length ? course(r) : "", list);
    return box;
  };

  const bounds = (values, least) => {
    const low = Math.min(...values, -least), high = Math.max(...values, least);
    const room = 0.08 * (high - low);
    return [low - room, high + room];
  };
  const steps = (low, high) => {
    const raw = (high - low) / 6, unit = 10 ** Math.floor(Math.log10(raw));
    const step = [1, 2, 5, 10].map((m) => m * unit).find((s) => s >= raw);
    const marks = [];
    for (let at = Math.ceil(low / step) * step; at <= high; at += step) marks.push(at);
    return marks;
  };
  const date = (d) => new Date(d * day).toISOString().slice(0, 10);

  const course = (r) => {
    const wide = 400, high = 190, left = 58, right = 12, top = 10, foot = 26;
    const dated = r.points.every((p) => p[0] !== null);
    const xs = r.points.map((p, i) => (dated ? p[0] : i));
    const first = Math.min(...xs), last = Math.max(...xs, first + 1);
    const x = (v) => left + 10 + (v - first) / (last - first) * (wide - left - right - 20);
    const [low, up] = bounds(r.points.flatMap((p) => [p[1] - p[2], p[1] + p[2]]), 1.2 * Math.max(-data.band[0], data.band[1]));
    const y = (v) => top + (up - v) / (up - low) * (high - top - foot);
    const svg = draw("svg", { viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-label": `${r.name}: ${r.error ? spread(r.error) : ""}` });
    const add = (...what) => svg.append(draw(...what));
    add("rect", { x: left, y: y(data.band[1]), width: wide - left - right, height: y(data.band[0]) - y(data.band[1]), fill: "var(--allowed)" });
    steps(low, up).forEach((v) => {
      add("line", { x1: left, x2: wide - right, y1: y(v), y2: y(v), stroke: "var(--rule)", "stroke-width": v === 0 ? 1.5 : 0.5 });
      add("text", { x: left - 5, y: y(v) + 4, "text-anchor": "end" }, `${percent(v)} %`);
    });
    if (dated) r.changes.forEach(([from, to]) => {
      const [a, b] = [Math.max(x(from), left), Math.min(Math.max(x(to), x(from) + 2), wide - right)];
      add("rect", { x: a, y: top, width: b - a, height: high - top - foot, fill: "var(--quiet)", opacity: 0.18 });
      add("text", { x: (a + b) / 2, y: top + 10, "text-anchor": "middle" }, word.change);
    });
    const pieces = r.points.map((p, i) => (dated ? r.changes.filter(([from]) => p[0] > from).length : 0));
    [...new Set(pieces)].forEach((piece) => {
      const own = r.points.map((p, i) => [xs[i], p]).filter((_, i) => pieces[i] === piece);
      const weights = own.map(([, p]) => 1 / (p[2] * p[2] + 1));
      const level = own.reduce((sum, [, p], i) => sum + weights[i] * p[1], 0) / weights.reduce((a, b) => a + b, 0);
      const now = piece === Math.max(...pieces);
      add("line", { x1: x(own[0][0]) - 6, x2: x(own[own.length - 1][0]) + 6, y1: y(level), y2: y(level),
        stroke: now ? "var(--now)" : "var(--before)", "stroke-width": 2, ...(now ? {} : { "stroke-dasharray": "5 2" }) });
    });
    r.points.forEach((p, i) => {
      const color = p[3] ? "var(--now)" : "var(--before)";
      add("line", { x1: x(xs[i]), x2: x(xs[i]), y1: y(p[1] - p[2]), y2: y(p[1] + p[2]), stroke: color, "stroke-width": 1.5 });
      add("circle", { cx: x(xs[i]), cy: y(p[1]), r: 3.5, stroke: color, "stroke-width": 1.5, fill: p[3] ? color : "var(--paper)" });
    });
    const ends = dated ? [date(first), date(Math.max(...xs))] : [word.in_order, ""];
    add("text", { x: left, y: high - 8 }, ends[0]);
    if (ends[1] !== ends[0]) add("text", { x: wide - right, y: high - 8, "text-anchor": "end" }, ends[1]);
    return svg;
  };

  const picture = () => {
    const canvas = at("all"), ratio = window.devicePixelRatio || 1;
    const wide = canvas.clientWidth, high = canvas.clientHeight;
    canvas.width = wide * ratio;
    canvas.height = high * ratio;
    const pen = canvas.getContext("2d"), style = getComputedStyle(document.documentElement);
    const colors = Object.fromEntries(["allowed", "rule", "quiet", "before", "ink"].map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
    pen.scale(ratio, ratio);
    pen.clearRect(0, 0, wide, high);
    const among = new Set(shown), drawn = byError.filter((r) => among.has(r));
    const far = Math.max(-data.band[0], data.band[1]);
    const middle = drawn.map((r) => Math.abs(r.error[0])).sort((a, b) => a - b)[Math.floor(0.995 * drawn.length)] || far;
    const [low, up] = bounds([-1.1 * middle, 1.1 * middle], 2 * far);
    const y = (v) => 6 + (up - Math.min(Math.max(v, low), up)) / (up - low) * (high - 12);
    pen.font = "11px system-ui, sans-serif";
    const left = Math.max(44, ...steps(low, up).map((v) => Math.ceil(pen.measureText(`${percent(v)} %`).width) + 7));
    pen.fillStyle = colors.allowed;
    pen.fillRect(left, y(data.band[1]), wide - left, y(data.band[0]) - y(data.band[1]));
    pen.textAlign = "right";
    steps(low, up).forEach((v) => {
      pen.fillStyle = colors.rule;
      pen.fillRect(left, y(v), wide - left, v === 0 ? 1.5 : 0.5);
      pen.fillStyle = colors.quiet;
      pen.fillText(`${percent(v)} %`, left - 5, y(v) + 4);
    });
    const space = (wide - left) / Math.max(drawn.length, 1), bar = Math.max(Math.min(0.7 * space, 6), 0.5);
    places = drawn.map((r, i) => {
      const x = left + (i + 0.5) * space;
      pen.fillStyle = r.flags & WRONG ? colors.before : colors.quiet;
      pen.globalAlpha = r.flags & WRONG ? 0.6 : 0.4;
      pen.fillRect(x - bar / 2, y(r.error[2]), bar, Math.max(y(r.error[1]) - y(r.error[2]), 1));
      pen.globalAlpha = 1;
      pen.fillStyle = r.flags & WRONG ? colors.before : colors.ink;
      pen.fillRect(x - Math.max(bar, 1.5) / 2, y(r.error[0]) - 1, Math.max(bar, 1.5), 2);
      return [x, r];
    });
  };
  at("all").addEventListener("click", (event) => {
    if (!places.length) return;
    const x = event.clientX - at("all").getBoundingClientRect().left;
    const near = places.reduce((a, b) => (Math.abs(b[0] - x) < Math.abs(a[0] - x) ? b : a))[1];
    const item = line(near), head = item.firstChild;
    toggle(item, head, near);
    at("touched").replaceChildren(item);
    at("touched").hidden = false;
    item.scrollIntoView({ block: "nearest" });
    head.focus({ preventScroll: true });
  });

  ["word", "list", "trust", "action", "sort"].forEach((id) => at(id).addEventListener("input", select));
  at("controls").addEventListener("submit", (event) => event.preventDefault());
  at("more").addEventListener("click", () => extend());
  window.addEventListener("resize", picture);
  select();
})();

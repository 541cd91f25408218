// Marks on a still of the dial: by finger with a lens, by mouse, by keyboard; proposed ones are confirmed or moved.
"use strict";

(() => {
  const form = document.getElementById("marks-form");
  if (!form) return;
  const by = (id) => document.getElementById(id);
  const canvas = by("still"), lens = by("lens");
  const stills = JSON.parse(form.dataset.stills);
  const NEAR_PX = 20, SLOW = 0.4, LENS_ZOOM = 3, FEWEST = 3;
  let number = 0, picture = null, marks = [], taken = null, cursor = null, view = null, isTouched = false;

  const say = (text) => { by("said").textContent = text; };
  const sentence = (text) => text && text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?]$/.test(text) ? "" : ".");

  // ---- the view: which part of the still the canvas shows; zoom is canvas pixels (CSS) per pixel of the still

  const size = () => [canvas.clientWidth, canvas.clientHeight];
  const toCanvas = ({ x, y }) => [(x - view.x) * view.zoom + size()[0] / 2, (y - view.y) * view.zoom + size()[1] / 2];
  const toStill = (left, top) => ({ x: (left - size()[0] / 2) / view.zoom + view.x, y: (top - size()[1] / 2) / view.zoom + view.y });
  const wholeZoom = () => Math.min(size()[0] / picture.naturalWidth, size()[1] / picture.naturalHeight);
  const inside = (point) => ({ x: Math.min(Math.max(point.x, 0), picture.naturalWidth - 1),
    y: Math.min(Math.max(point.y, 0), picture.naturalHeight - 1) });
  const look = (x, y, zoom) => {
    view = { x, y, zoom: Math.min(Math.max(zoom, wholeZoom()), 12) };
    draw();
  };
  const lookAtAll = () => look(picture.naturalWidth / 2, picture.naturalHeight / 2, 0);
  const lookAtMarks = () => {
    if (marks.length < FEWEST) return lookAtAll();
    const [xs, ys] = [marks.map((mark) => mark.x), marks.map((mark) => mark.y)];
    const [left, right, top, bottom] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    const reach = 1.25 * Math.max(right - left, bottom - top, 1);
    look((left + right) / 2, (top + bottom) / 2, Math.min(...size()) / reach);
  };

  // ---- drawing

  const cross = (pen, x, y, reach) => {
    for (const [width, colour] of [[4, "#000"], [1.6, "#fff"]]) {
      pen.lineWidth = width;
      pen.strokeStyle = colour;
      pen.beginPath();
      pen.moveTo(x - reach, y); pen.lineTo(x + reach, y);
      pen.moveTo(x, y - reach); pen.lineTo(x, y + reach);
      pen.stroke();
    }
  };
  const paint = (target, middle, zoom) => {
    const pen = target.getContext("2d");
    const [wide, high] = [target.clientWidth, target.clientHeight];
    const dense = window.devicePixelRatio || 1;
    target.width = Math.round(wide * dense);
    target.height = Math.round(high * dense);
    pen.setTransform(dense, 0, 0, dense, 0, 0);
    pen.fillStyle = "#444";
    pen.fillRect(0, 0, wide, high);
    pen.drawImage(picture, wide / 2 - middle.x * zoom, high / 2 - middle.y * zoom,
      picture.naturalWidth * zoom, picture.naturalHeight * zoom);
    return pen;
  };
  const draw = () => {
    if (!picture || !view) return;
    const pen = paint(canvas, view, view.zoom);
    const centre = marks.length ? { x: marks.reduce((sum, mark) => sum + mark.x, 0) / marks.length,
      y: marks.reduce((sum, mark) => sum + mark.y, 0) / marks.length } : view;
    pen.font = "600 14px system-ui, sans-serif";
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    for (const mark of marks) {
      const [x, y] = toCanvas(mark);
      cross(pen, x, y, mark === taken ? 12 : 7);
      const away = Math.hypot(mark.x - centre.x, mark.y - centre.y) || 1;
      const [tx, ty] = [x + 20 * (mark.x - centre.x) / away, y + 20 * (mark.y - centre.y) / away];
      pen.lineWidth = 4;
      pen.strokeStyle = "#000";
      pen.fillStyle = "#fff";
      const text = mark.value || "?";
      pen.strokeText(text, tx, ty);
      pen.fillText(text, tx, ty);
    }
    if (cursor) cross(pen, ...toCanvas(cursor), 16);
  };
  const showLens = (point, left, top) => {
    lens.hidden = false;
    const wide = lens.offsetWidth;
    lens.style.left = `${Math.min(Math.max(left - wide / 2, 0), size()[0] - wide)}px`;
    lens.style.top = `${top - wide - 40 < -60 ? top + 40 : top - wide - 40}px`;
    const pen = paint(lens, point, Math.max(LENS_ZOOM * view.zoom, 2));
    cross(pen, lens.clientWidth / 2, lens.clientHeight / 2, 14);
  };

  // ---- the list of marks, around the dial from the widest gap on

  const order = () => {
    if (marks.length < FEWEST) return;
    const [x, y] = ["x", "y"].map((axis) => marks.reduce((sum, mark) => sum + mark[axis], 0) / marks.length);
    const angle = new Map(marks.map((mark) => [mark, Math.atan2(mark.y - y, mark.x - x)]));
    marks.sort((one, other) => angle.get(one) - angle.get(other));
    const gap = marks.map((mark, i) => (i ? angle.get(mark) - angle.get(marks[i - 1])
      : angle.get(mark) + 2 * Math.PI - angle.get(marks.at(-1))));
    const start = gap.indexOf(Math.max(...gap));
    marks = [...marks.slice(start), ...marks.slice(0, start)];
  };
  const list = () => {
    order();
    by("none").hidden = marks.length > 0;
    by("marks").replaceChildren(...marks.map((mark, i) => {
      const row = document.createElement("li");
      const value = Object.assign(document.createElement("input"), { value: mark.value, inputMode: "decimal", autocomplete: "off" });
      value.setAttribute("aria-label", `Figure at mark ${i + 1}`);
      value.addEventListener("input", () => { mark.value = value.value.trim(); isTouched = true; draw(); });
      value.addEventListener("focus", () => { taken = mark; draw(); });
      value.addEventListener("blur", () => { if (taken === mark) taken = null; draw(); });
      const remove = Object.assign(document.createElement("button"), { type: "button", className: "second", textContent: "×" });
      remove.setAttribute("aria-label", `Remove mark ${i + 1}`);
      remove.addEventListener("click", () => drop(mark));
      row.append(value, remove);
      return row;
    }));
    draw();
  };
  const drop = (mark) => {
    marks = marks.filter((one) => one !== mark);
    taken = null;
    isTouched = true;
    say(`Mark removed, ${marks.length} left.`);
    list();
  };
  const nearest = (left, top) => {
    const away = (mark) => Math.hypot(toCanvas(mark)[0] - left, toCanvas(mark)[1] - top);
    const near = marks.filter((mark) => away(mark) < NEAR_PX);
    return near.sort((one, other) => away(one) - away(other))[0] ?? null;
  };
  const settle = (mark, isNew) => {
    taken = null;
    isTouched = true;
    say(`${isNew ? "Mark set" : "Mark moved"}, ${marks.length} in all.`);
    list();
  };

  // ---- finger and mouse: one sets or moves a mark, two move the picture

  const fingers = new Map();
  let held = null, pinch = null;
  const place = (event) => {
    const box = canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  const letGo = () => {
    if (held?.isNew) marks = marks.filter((one) => one !== held.mark);
    held = taken = null;
    lens.hidden = true;
  };
  canvas.addEventListener("pointerdown", (event) => {
    if (!picture || event.button) return;
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, place(event));
    cursor = null;
    if (fingers.size > 1) {
      letGo();
      pinch = fingers.size === 2 ? { view: { ...view }, fingers: [...fingers.values()] } : null;
      return draw();
    }
    const [left, top] = place(event);
    const found = nearest(left, top);
    const mark = found ?? { ...inside(toStill(left, top)), value: "" };
    if (!found) marks.push(mark);
    held = { mark, isNew: !found, from: [left, top], start: { x: mark.x, y: mark.y }, slow: event.pointerType === "mouse" ? 1 : SLOW };
    taken = mark;
    draw();
    showLens(mark, left, top);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, place(event));
    if (pinch && fingers.size === 2) return spread();
    if (!held) return;
    const [left, top] = place(event);
    const slow = held.slow / view.zoom;
    Object.assign(held.mark, inside({ x: held.start.x + (left - held.from[0]) * slow, y: held.start.y + (top - held.from[1]) * slow }));
    draw();
    showLens(held.mark, left, top);
  });
  const spread = () => {
    const between = ([one, other]) => Math.hypot(one[0] - other[0], one[1] - other[1]) || 1;
    const middle = ([one, other]) => [(one[0] + other[0]) / 2, (one[1] + other[1]) / 2];
    const now = [...fingers.values()];
    const zoom = pinch.view.zoom * between(now) / between(pinch.fingers);
    const [was, is] = [middle(pinch.fingers), middle(now)];
    const [wide, high] = size();
    look(pinch.view.x + (was[0] - wide / 2) / pinch.view.zoom - (is[0] - wide / 2) / zoom,
      pinch.view.y + (was[1] - high / 2) / pinch.view.zoom - (is[1] - high / 2) / zoom, zoom);
  };
  canvas.addEventListener("pointerup", (event) => {
    fingers.delete(event.pointerId);
    if (fingers.size < 2) pinch = null;
    lens.hidden = true;
    if (!held) return;
    const { mark, isNew } = held;
    held = null;
    settle(mark, isNew);
  });
  canvas.addEventListener("pointercancel", (event) => {
    fingers.delete(event.pointerId);
    letGo();
    list();
  });
  canvas.addEventListener("wheel", (event) => {
    if (!picture || !event.ctrlKey) return;
    event.preventDefault();
    const [left, top] = place(event);
    const under = toStill(left, top);
    const zoom = view.zoom * (event.deltaY < 0 ? 1.25 : 0.8);
    look(under.x - (left - size()[0] / 2) / zoom, under.y - (top - size()[1] / 2) / zoom, zoom);
  }, { passive: false });

  // ---- keyboard

  const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  canvas.addEventListener("keydown", (event) => {
    if (!picture) return;
    const move = MOVES[event.key];
    if (move) {
      event.preventDefault();
      const far = event.shiftKey ? 1 : Math.max(12 / view.zoom, 1);
      cursor = inside({ x: (cursor ?? view).x + far * move[0], y: (cursor ?? view).y + far * move[1] });
      if (taken) Object.assign(taken, cursor);
      draw();
      showLens(cursor, ...toCanvas(cursor));
    } else if (event.key === "Enter" && cursor) {
      event.preventDefault();
      if (taken) return settle(taken, false);
      const found = nearest(...toCanvas(cursor));
      if (!found) marks.push({ ...cursor, value: "" });
      if (!found) return settle(null, true);
      taken = found;
      cursor = { x: found.x, y: found.y };
      say("Mark taken up.");
      draw();
    } else if (event.key === "Delete" && cursor) {
      const found = taken ?? nearest(...toCanvas(cursor));
      if (found) drop(found);
    }
  });
  canvas.addEventListener("blur", () => {
    cursor = null;
    if (!held) lens.hidden = true;
    draw();
  });

  // ---- buttons

  by("closer").addEventListener("click", () => picture && look(view.x, view.y, 1.6 * view.zoom));
  by("whole").addEventListener("click", () => picture && lookAtAll());
  by("clear").addEventListener("click", () => { marks = []; taken = null; isTouched = true; by("proposed").hidden = true; list(); });
  const figure = (text) => (/^[+-]?\d+([.,]\d+)?$/.test(text.trim()) ? Number(text.trim().replace(",", ".")) : NaN);
  by("number").addEventListener("click", () => {
    const [first, step] = [figure(by("first").value), figure(by("step").value)];
    if (Number.isNaN(first) || !step) return refuse({ text: "Write the first figure and the step", remedy: "" }, by("step"));
    marks.forEach((mark, i) => { mark.value = String(Math.round(1e6 * (first + i * step)) / 1e6); });
    isTouched = true;
    list();
  });

  const open = (which) => {
    const loaded = new Image();
    number = which;
    for (const button of form.querySelectorAll("[data-still]")) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.still) === which));
    }
    const values = marks.map((mark) => mark.value);
    if (!isTouched || stills[which].ticks.length) {
      marks = stills[which].ticks.map(([x, y], i) => ({ x, y, value: values.length === stills[which].ticks.length ? values[i] : "" }));
    }
    const count = stills[which].ticks.length;
    by("proposed").hidden = false;
    by("proposed").textContent = count
      ? `${count} ticks were found and are marked already. Move or remove crosses that are not on the end of a tick with a figure, add what is missing, then number them.`
      : "No ticks were found here: set the marks yourself, or choose another still.";
    loaded.addEventListener("load", () => { picture = loaded; lookAtMarks(); list(); });
    loaded.src = form.dataset.base + stills[which].file;
  };
  for (const button of form.querySelectorAll("[data-still]")) {
    button.addEventListener("click", () => open(Number(button.dataset.still)));
  }
  window.addEventListener("resize", () => picture && look(view.x, view.y, view.zoom));

  // ---- sending

  const forget = () => { for (const place of ["refused", "figures-refused"]) by(place).replaceChildren(); };
  const refuse = (told, field) => {
    const note = Object.assign(document.createElement("div"), { className: "note bad", tabIndex: -1 });
    note.setAttribute("role", "alert");
    for (const text of [told.text, told.remedy]) {
      if (text) note.append(Object.assign(document.createElement("p"), { textContent: sentence(text) }));
    }
    forget();
    by(field ? "figures-refused" : "refused").replaceChildren(note);
    (field ?? note).focus();
  };
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    forget();
    if (marks.length < FEWEST) return refuse({ text: "Three marks are needed, six or more are better" });
    const bad = marks.findIndex((mark) => Number.isNaN(figure(mark.value)));
    if (bad >= 0) return refuse({ text: "Every mark needs the figure beside it" }, by("marks").querySelectorAll("input")[bad]);
    form.elements.still.value = number;
    form.elements.marks.value = JSON.stringify(marks.map((mark) => [figure(mark.value), mark.x, mark.y]));
    const button = form.querySelector("button:not([type])");
    button.disabled = true;
    try {
      const answer = await fetch(form.action, { method: "POST", body: new FormData(form), headers: { accept: "application/json" } });
      const told = await answer.json();
      if (told.film) return location.assign(told.film);
      refuse(told.error === "sign_in_first" ? { ...told, remedy: "Sign in in another tab, then send the marks again" } : told);
    } catch {
      refuse({ text: "There is no connection", remedy: "The marks are still here; send them again when there is one" });
    }
    button.disabled = false;
  });

  const known = JSON.parse(form.dataset.marks);
  open(Number(form.dataset.best));
  if (known.length) {
    marks = known.map(([value, x, y]) => ({ x, y, value: String(value) }));
    isTouched = true;
    by("proposed").hidden = true;
  }
})();

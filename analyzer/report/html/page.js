"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const canvas = document.getElementById("sewn");
  const pen = canvas.getContext("2d");
  if (!pen) return;
  document.documentElement.classList.add("js");

  const numbers = (text) => {
    const raw = atob(text);
    const bytes = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
    const view = new DataView(bytes.buffer);
    const found = new Int16Array(bytes.length / 2);
    for (let i = 0; i < found.length; i++) found[i] = view.getInt16(2 * i, true);
    return found;
  };
  const places = numbers(data.places);
  const tones = numbers(data.joined);
  const count = places.length / 2;
  const [halfX, halfY] = data.box;
  const moves = data.moves || null;
  if (moves) {
    moves.afterSteps = numbers(moves.after);
    moves.ownShift = numbers(moves.own);
  }
  const slider = document.getElementById("step");
  const said = document.getElementById("said");
  const moved = document.getElementById("moved");
  const ribbon = Array.from(document.querySelectorAll(".ribbon rect"));
  const at = new Float64Array(2 * count);
  // stitches that are drawn together, with the box that they lie in
  const parts = [];
  for (const [region, colour, begin, end] of data.parts) {
    for (let first = begin; first <= end; first += 100) {
      parts.push({ region, colour, first, last: Math.min(first + 99, end), box: [0, 0, 0, 0] });
    }
  }

  // displacement of the cloth after a step at a place, mm: bilinear on the grid that came with the page
  const gone = [0, 0];
  const cloth = (step, x, y) => {
    gone[0] = gone[1] = 0;
    if (step < 1) return gone;
    const u = Math.min(Math.max((x + halfX) / moves.cell, 0), moves.nx - 1.000001);
    const v = Math.min(Math.max((y + halfY) / moves.cell, 0), moves.ny - 1.000001);
    const i = Math.floor(u), j = Math.floor(v), a = u - i, b = v - j;
    const low = 2 * ((step - 1) * moves.nx * moves.ny + j * moves.nx + i), high = low + 2 * moves.nx;
    const after = moves.afterSteps;
    for (let k = 0; k < 2; k++) {
      gone[k] = ((1 - b) * ((1 - a) * after[low + k] + a * after[low + 2 + k]) +
        b * ((1 - a) * after[high + k] + a * after[high + 2 + k])) / 1000;
    }
    return gone;
  };
  const shown = () => Boolean(moves && moved && moved.checked);
  let placed = "";
  const place = (step, end) => {
    const wanted = `${step} ${shown()}`;
    if (placed === wanted) return;
    placed = wanted;
    const moving = shown();
    for (let k = 0; k < count; k++) {
      let x = places[2 * k] / data.scale, y = places[2 * k + 1] / data.scale;
      if (moving && k < end) {
        cloth(step, x, y);
        x += moves.factor * (gone[0] + moves.ownShift[2 * k] / 1000);
        y += moves.factor * (gone[1] + moves.ownShift[2 * k + 1] / 1000);
      }
      at[2 * k] = x;
      at[2 * k + 1] = y;
    }
    for (const one of parts) {
      const box = one.box = [Infinity, Infinity, -Infinity, -Infinity];
      for (let k = Math.max(one.first - 1, 0); k <= one.last; k++) {
        box[0] = Math.min(box[0], at[2 * k]);
        box[1] = Math.min(box[1], at[2 * k + 1]);
        box[2] = Math.max(box[2], at[2 * k]);
        box[3] = Math.max(box[3], at[2 * k + 1]);
      }
    }
  };
  const line = (first, last, wanted) => {
    let behind = -2;
    pen.beginPath();
    for (let k = first; k <= last; k++) {
      if (!tones[k] || (wanted && tones[k] !== wanted)) continue;
      if (behind !== k - 1) pen.moveTo(at[2 * k - 2], at[2 * k - 1]);
      pen.lineTo(at[2 * k], at[2 * k + 1]);
      behind = k;
    }
    pen.stroke();
  };
  const grid = (step) => {
    const side = 2 * Math.max(halfX, halfY);
    const apart = [1, 2, 5, 10, 20, 50].find((one) => side / one <= 10) || 50;
    pen.lineWidth = side / 900;
    pen.strokeStyle = "rgba(60,60,60,.45)";
    const draw = (fixed, along, across) => {
      pen.beginPath();
      for (let s = -along; s <= along + 1e-9; s += along / 40) {
        const [x, y] = across ? [s, fixed] : [fixed, s];
        const [dx, dy] = shown() ? cloth(step, x, y) : [0, 0];
        pen.lineTo(x + moves.factor * dx, y + moves.factor * dy);
      }
      pen.stroke();
    };
    for (let x = apart / 2; x < halfX; x += apart) { draw(x, halfY, false); draw(-x, halfY, false); }
    for (let y = apart / 2; y < halfY; y += apart) { draw(y, halfX, true); draw(-y, halfX, true); }
  };
  // what is looked at: how many times nearer than the whole, and the place in the middle, mm
  const near = { times: 1, x: 0, y: 0 };
  const stage = canvas.parentElement;
  const whole = stage.querySelector("svg.over").getAttribute("viewBox").split(" ").map(Number);
  const unit = whole[2] / (2 * halfX);  // of the drawings, in a millimetre
  const look = (times, x, y) => {
    near.times = Math.min(Math.max(times, 1), 40);
    const roomX = halfX - halfX / near.times, roomY = halfY - halfY / near.times;
    near.x = Math.min(Math.max(x, -roomX), roomX);
    near.y = Math.min(Math.max(y, -roomY), roomY);
    const wide = whole[2] / near.times, high = whole[3] / near.times;
    const box = [near.x * unit - wide / 2, -near.y * unit - high / 2, wide, high].join(" ");
    stage.querySelectorAll(":scope > svg").forEach((one) => one.setAttribute("viewBox", box));
    stage.classList.toggle("near", near.times > 1);
    soon();
  };
  const spot = (event) => {
    const box = canvas.getBoundingClientRect();
    const x = (event.clientX - box.left) / box.width - 0.5, y = 0.5 - (event.clientY - box.top) / box.height;
    return [near.x + x * 2 * halfX / near.times, near.y + y * 2 * halfY / near.times];
  };
  // what is at a place: the stitch that lies nearest of those sewn, and how far the cloth has gone
  const here = document.getElementById("here");
  const tellPlace = (x, y) => {
    const step = Number(slider.value), end = step ? data.steps[step - 1].end : 0;
    let best = 25 / near.times ** 2 + 1, part = null;
    for (const one of parts) {
      const box = one.box, off = Math.max(box[0] - x, x - box[2], box[1] - y, y - box[3], 0);
      if (one.first >= end || off * off >= best) continue;
      for (let k = Math.max(one.first, 1); k <= Math.min(one.last, end - 1); k++) {
        if (!tones[k]) continue;
        const dx = (at[2 * k] + at[2 * k - 2]) / 2 - x, dy = (at[2 * k + 1] + at[2 * k - 1]) / 2 - y;
        if (dx * dx + dy * dy < best) { best = dx * dx + dy * dy; part = one; }
      }
    }
    const [dx, dy] = moves ? cloth(step, x, y) : [0, 0];
    const moved = Math.hypot(dx, dy) / data.unit_mm, digits = data.unit_mm > 1 ? 3 : 1;
    const number = (mm) => (mm / data.unit_mm).toFixed(digits);
    here.textContent = `At (${number(x)}, ${number(y)}) ${data.unit}: ` +
      (part ? data.names[part.region] || `region ${part.region}` : "no stitching") +
      (moves ? `; the cloth has moved ${moved.toFixed(digits)} ${data.unit} by then (estimate).` : ".");
  };
  const draw = () => {
    const step = Number(slider.value);
    const end = step ? data.steps[step - 1].end : 0;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const wide = canvas.clientWidth, high = canvas.clientHeight;
    if (!wide) return;
    canvas.width = Math.round(wide * ratio);
    canvas.height = Math.round(high * ratio);
    const scale = canvas.width / (2 * halfX / near.times);
    pen.setTransform(scale, 0, 0, -scale, canvas.width / 2 - near.x * scale, canvas.height / 2 + near.y * scale);
    pen.lineCap = pen.lineJoin = "round";
    place(step, end);
    if (moves) grid(step);
    const seenX = halfX / near.times + data.width, seenY = halfY / near.times + data.width;
    const seen = parts.filter(({ box }) => box[2] > near.x - seenX && box[0] < near.x + seenX &&
      box[3] > near.y - seenY && box[1] < near.y + seenY);
    pen.lineWidth = data.width * 0.5;
    pen.strokeStyle = "rgba(90,90,90,.30)";
    for (const one of seen) if (one.last >= end) line(Math.max(one.first, end, 1), one.last, 0);
    const sewn = seen.filter((one) => one.first < end);
    if (count > 20000 && data.width * scale < 1.6) {
      // a thread is hardly wider than a point of the screen: its edges and tones would not show
      pen.lineCap = "butt";
      pen.lineJoin = "bevel";
      pen.lineWidth = 1 / scale;
      for (const one of sewn) {
        pen.strokeStyle = data.looks[one.colour][3];
        line(one.first, Math.min(one.last, end - 1), 0);
      }
      return;
    }
    // the edges of all of a region's threads first, as on the still drawing
    for (let p = 0; p < sewn.length;) {
      let q = p;
      while (q < sewn.length && sewn[q].region === sewn[p].region) q++;
      for (const one of sewn.slice(p, q)) {
        pen.strokeStyle = data.looks[one.colour][0];
        pen.lineWidth = data.width;
        line(one.first, Math.min(one.last, end - 1), 0);
      }
      for (const one of sewn.slice(p, q)) {
        pen.lineWidth = 0.72 * data.width;
        for (let tone = 1; tone < data.looks[one.colour].length; tone++) {
          pen.strokeStyle = data.looks[one.colour][tone];
          line(one.first, Math.min(one.last, end - 1), tone);
        }
      }
      p = q;
    }
  };
  let waiting = 0;
  const soon = () => {
    cancelAnimationFrame(waiting);
    waiting = requestAnimationFrame(draw);
  };
  // what is chosen below the picture shows in it: bring it into sight where it has left the window
  const inSight = () => {
    const box = canvas.parentElement.getBoundingClientRect();
    if (box.top < 0) canvas.parentElement.scrollIntoView({ block: "start", behavior: "auto" });
  };
  const tell = () => {
    const step = Number(slider.value);
    const text = step ? data.steps[step - 1].says : "Nothing is sewn yet.";
    said.textContent = text;
    slider.setAttribute("aria-valuetext", text);
    ribbon.forEach((part, i) => part.classList.toggle("later", i >= step));
    soon();
  };
  const go = (step) => {
    slider.value = String(Math.min(Math.max(step, 0), data.steps.length));
    tell();
  };
  const closer = (times) => { look(near.times * times, near.x, near.y); tellPlace(near.x, near.y); };
  document.getElementById("nearer").addEventListener("click", () => closer(1.6));
  document.getElementById("farther").addEventListener("click", () => closer(1 / 1.6));
  document.getElementById("all").addEventListener("click", () => look(1, 0, 0));
  stage.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && near.times === 1 && event.deltaY > 0) return;  // the page itself goes on
    if (!event.ctrlKey && document.activeElement !== stage) return;
    event.preventDefault();
    const [x, y] = spot(event), times = Math.min(Math.max(near.times * (event.deltaY < 0 ? 1.25 : 0.8), 1), 40);
    look(times, x + (near.x - x) * near.times / times, y + (near.y - y) * near.times / times);
  }, { passive: false });
  let held = null;
  stage.addEventListener("pointerdown", (event) => {
    if (event.target.closest("a")) return;
    held = { x: event.clientX, y: event.clientY, from: [near.x, near.y] };
    if (near.times > 1) stage.setPointerCapture(event.pointerId);
  });
  stage.addEventListener("pointerup", () => { held = null; });
  stage.addEventListener("pointermove", (event) => {
    if (held && near.times > 1) {
      const mm = 2 * halfX / near.times / canvas.clientWidth;
      look(near.times, held.from[0] - (event.clientX - held.x) * mm, held.from[1] + (event.clientY - held.y) * mm);
      return;
    }
    const [x, y] = spot(event);
    cancelAnimationFrame(asked);
    asked = requestAnimationFrame(() => tellPlace(x, y));
  });
  let asked = 0;
  stage.addEventListener("keydown", (event) => {
    if (event.target !== stage) return;
    const by = 0.2 * halfX / near.times;
    const ways = { ArrowLeft: [-by, 0], ArrowRight: [by, 0], ArrowUp: [0, by], ArrowDown: [0, -by] };
    if (event.key === "+" || event.key === "=") closer(1.6);
    else if (event.key === "-") closer(1 / 1.6);
    else if (event.key === "0" || event.key === "Escape") look(1, 0, 0);
    else if (ways[event.key] && near.times > 1) look(near.times, near.x + ways[event.key][0], near.y + ways[event.key][1]);
    else return;
    event.preventDefault();
    tellPlace(near.x, near.y);
  });
  slider.addEventListener("input", () => { tell(); inSight(); });
  document.getElementById("earlier").addEventListener("click", () => go(Number(slider.value) - 1));
  document.getElementById("later").addEventListener("click", () => go(Number(slider.value) + 1));
  ribbon.forEach((part, i) => part.addEventListener("click", () => go(i + 1)));
  if (moved) moved.addEventListener("change", soon);

  document.querySelectorAll('input[name="lay"]').forEach((choice) => choice.addEventListener("change", () => {
    document.querySelectorAll("[data-layer]").forEach((one) => one.toggleAttribute("hidden", one.dataset.layer !== choice.value));
    document.querySelectorAll("[data-told]").forEach((one) => { one.hidden = one.dataset.told !== choice.value; });
    inSight();
  }));

  const still = matchMedia("(prefers-reduced-motion: reduce)");
  const marks = Array.from(document.querySelectorAll(".mark"));
  document.querySelectorAll("a.place").forEach((link) => link.addEventListener("click", (event) => {
    event.preventDefault();
    const mark = document.getElementById(link.hash.slice(1));
    look(1, 0, 0);
    marks.forEach((one) => one.classList.toggle("on", one === mark));
    mark.focus({ preventScroll: true });
    document.getElementById("picture").scrollIntoView({ block: "start", behavior: still.matches ? "auto" : "smooth" });
    said.textContent = mark.getAttribute("aria-label") + ". Press Enter to go back to the finding.";
  }));
  marks.forEach((mark) => mark.addEventListener("click", (event) => {
    event.preventDefault();
    const finding = document.getElementById(mark.getAttribute("href").slice(1));
    const back = finding.querySelector("a.place");
    finding.scrollIntoView({ block: "center", behavior: still.matches ? "auto" : "smooth" });
    if (back) back.focus({ preventScroll: true });
  }));
  new ResizeObserver(soon).observe(canvas.parentElement);
  const wide = new ResizeObserver((seen) => seen.forEach(({ target }) => target.classList.toggle("wide", target.scrollWidth > target.clientWidth + 1)));
  document.querySelectorAll(".scroll").forEach((box) => wide.observe(box));
  tell();
})();

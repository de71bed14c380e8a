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

  // displacement of the cloth after a step at a place, mm: bilinear on the grid that came with the page
  const cloth = (step, x, y) => {
    if (step < 1) return [0, 0];
    const u = Math.min(Math.max((x + halfX) / moves.cell, 0), moves.nx - 1.000001);
    const v = Math.min(Math.max((y + halfY) / moves.cell, 0), moves.ny - 1.000001);
    const i = Math.floor(u), j = Math.floor(v), a = u - i, b = v - j;
    const base = (step - 1) * moves.nx * moves.ny * 2;
    const node = (column, row, part) => moves.afterSteps[base + 2 * (row * moves.nx + column) + part] / 1000;
    return [0, 1].map((part) =>
      (1 - b) * ((1 - a) * node(i, j, part) + a * node(i + 1, j, part)) +
      b * ((1 - a) * node(i, j + 1, part) + a * node(i + 1, j + 1, part)));
  };
  const shown = () => Boolean(moves && moved && moved.checked);
  const place = (step, end) => {
    for (let k = 0; k < count; k++) {
      let x = places[2 * k] / data.scale, y = places[2 * k + 1] / data.scale;
      if (k < end && shown()) {
        const [dx, dy] = cloth(step, x, y);
        x += moves.factor * (dx + moves.ownShift[2 * k] / 1000);
        y += moves.factor * (dy + moves.ownShift[2 * k + 1] / 1000);
      }
      at[2 * k] = x;
      at[2 * k + 1] = y;
    }
  };
  const line = (first, last, wanted) => {
    pen.beginPath();
    for (let k = first; k <= last; k++) {
      if (!tones[k] || (wanted && tones[k] !== wanted)) continue;
      pen.moveTo(at[2 * k - 2], at[2 * k - 1]);
      pen.lineTo(at[2 * k], at[2 * k + 1]);
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
  const draw = () => {
    const step = Number(slider.value);
    const end = step ? data.steps[step - 1].end : 0;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const wide = canvas.clientWidth, high = canvas.clientHeight;
    if (!wide) return;
    canvas.width = Math.round(wide * ratio);
    canvas.height = Math.round(high * ratio);
    const scale = canvas.width / (2 * halfX);
    pen.setTransform(scale, 0, 0, -scale, canvas.width / 2, canvas.height / 2);
    pen.lineCap = pen.lineJoin = "round";
    place(step, end);
    if (moves) grid(step);
    pen.lineWidth = data.width * 0.5;
    pen.strokeStyle = "rgba(90,90,90,.30)";
    if (end < count) line(Math.max(end, 1), count - 1, 0);
    // the edges of all of a region's threads first, as on the still drawing
    for (let p = 0; p < data.parts.length;) {
      let q = p;
      while (q < data.parts.length && data.parts[q][0] === data.parts[p][0]) q++;
      for (let k = p; k < q; k++) {
        const [, colour, first, last] = data.parts[k];
        if (first >= end) continue;
        pen.strokeStyle = data.looks[colour][0];
        pen.lineWidth = data.width;
        line(first, Math.min(last, end - 1), 0);
      }
      for (let k = p; k < q; k++) {
        const [, colour, first, last] = data.parts[k];
        if (first >= end) continue;
        pen.lineWidth = 0.72 * data.width;
        for (let tone = 1; tone < data.looks[colour].length; tone++) {
          pen.strokeStyle = data.looks[colour][tone];
          line(first, Math.min(last, end - 1), tone);
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
  tell();
})();

"use strict";
// Forms that go with the choices take them along; dropped files go into the file field.
document.addEventListener("submit", (event) => {
  const form = event.target;
  const other = form.dataset && form.dataset.with && document.getElementById(form.dataset.with);
  if (!other) return;
  form.querySelectorAll("[data-taken]").forEach((one) => one.remove());
  for (const [name, value] of new FormData(other)) {
    if (typeof value !== "string" || !value) continue;
    const field = document.createElement("input");
    field.type = "hidden";
    field.name = name;
    field.value = value;
    field.dataset.taken = "";
    form.append(field);
  }
});
const drop = document.getElementById("drop");
if (drop) {
  const field = document.getElementById("files");
  for (const kind of ["dragenter", "dragover"]) {
    document.addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
  }
  document.addEventListener("dragleave", () => drop.classList.remove("over"));
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    if (event.dataTransfer.files.length) { field.files = event.dataTransfer.files; drop.requestSubmit(); }
  });
}
const setup = document.getElementById("setup");
if (setup) {
  setup.addEventListener("change", () => {
    const chosen = setup.querySelector('input[name="goods"]:checked');
    const name = setup.querySelector(".goods summary strong");
    if (chosen && name) {
      name.textContent = chosen.parentElement.textContent.trim();
      const picture = chosen.closest("[role=group]").querySelector(".structure").cloneNode(true);
      const old = name.parentElement.querySelector(".structure");
      if (old) old.replaceWith(picture); else name.before(picture, " ");
    }
    const said = new URLSearchParams();
    for (const [key, value] of new FormData(setup)) if (value) said.set(key, value);
    history.replaceState(null, "", location.pathname + "?" + said);
  });
}
// what happens is said once, not with every look at how far it is, nor the whole answer at length
const state = document.getElementById("state");
if (state) {
  document.body.addEventListener("htmx:afterSettle", (event) => {
    const told = event.target.matches("[data-state]") ? event.target : event.target.querySelector("[data-state]");
    const says = told ? told.dataset.state || told.textContent : "";
    if (says && state.textContent !== says) state.textContent = says;
  });
}
// a table wider than its place says so
const widths = () => document.querySelectorAll(".pairing .scroll").forEach((box) => box.classList.toggle("wide", box.scrollWidth > box.clientWidth + 1));
document.body.addEventListener("htmx:afterSettle", widths);
addEventListener("resize", widths);
// the program behind the page may have been ended
document.body.addEventListener("htmx:sendError", (event) => {
  const said = document.createElement("p");
  said.className = "trouble";
  said.setAttribute("role", "alert");
  said.textContent = "The program behind this page does not answer. Start prehoop serve again, then load the page anew.";
  event.detail.target.replaceChildren(said);
});

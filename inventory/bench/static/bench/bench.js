/* Enter moves on to the next box, so that a caliper that types like a keyboard just works. The
   change of focus fires the box's change event, which htmx sends; without this script Enter sends
   the whole form and the server does the same. */
(() => {
  const form = document.getElementById("step");
  if (!form) return;
  const boxes = () => [...form.querySelectorAll("input.typed")];

  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !event.target.matches("input.typed")) return;
    event.preventDefault();
    const all = boxes();
    const next = all[all.indexOf(event.target) + 1];
    if (next) {
      next.focus();
      next.select();
      return;
    }
    const onward = form.querySelector('.onward button[name="go"]');
    event.target.blur();
    onward.focus();
  });

  /* Answering the question beside a box goes through the same address as the box itself. */
  form.addEventListener("click", (event) => {
    const button = event.target.closest("button[name^='use-'], button[name^='keep-']");
    if (!button || !window.htmx) return;
    event.preventDefault();
    const code = button.name.slice(button.name.indexOf("-") + 1);
    const box = document.getElementById(`typed-${code}`);
    const values = { [button.name]: button.value };
    if (button.name.startsWith("use-")) box.value = button.value;
    const source = new FormData(form);
    source.forEach((value, name) => { if (!(name in values)) values[name] = value; });
    values[`typed-${code}`] = box.value;
    window.htmx.ajax("POST", box.getAttribute("hx-post"), {
      target: `#said-${code}`, swap: "outerHTML", values,
    });
    box.focus();
  });

  form.addEventListener("htmx:afterSwap", () => {
    for (const box of boxes()) {
      const code = box.id.slice("typed-".length);
      box.setAttribute("aria-invalid", String(Boolean(document.getElementById(`problem-${code}`))));
    }
  });
})();

/* Enter keeps a reading and moves on to the next box, so that a caliper that types like a keyboard
   just works. Without this script Enter sends the whole form, and the server does the same. */
(() => {
  const form = document.getElementById("step");
  if (!form) return;
  const boxes = () => [...form.querySelectorAll("input.typed")];

  const problemOf = (box) => document.getElementById(box.id.replace("typed-", "problem-"));

  const onward = (box) => {
    const all = boxes();
    const next = all[all.indexOf(box) + 1];
    if (next) {
      next.focus();
      next.select();
    } else {
      // The last box of a place: the next reading belongs to the next place, not to this box.
      for (const each of all) each.readOnly = true;
      form.requestSubmit(form.querySelector('.onward button[name="go"]'));
    }
  };

  form.addEventListener("keydown", (event) => {
    const box = event.target;
    if (event.key !== "Enter" || !box.matches("input.typed")) return;
    event.preventDefault();
    if (box.readOnly) return;
    if (box.value === (box.dataset.sent ?? box.defaultValue)) {
      if (!problemOf(box)) {
        onward(box);
        return;
      }
    }
    box.dataset.entered = "yes";
    window.htmx.trigger(box, "enter");
  });

  /* Back from the next place: the boxes take readings again. */
  window.addEventListener("pageshow", () => {
    for (const box of boxes()) box.readOnly = false;
  });

  /* What Enter sent is not sent again when the box is left. */
  form.addEventListener("change", (event) => {
    const box = event.target;
    if (box.matches("input.typed") && box.value === box.dataset.sent) event.stopPropagation();
  }, true);

  form.addEventListener("htmx:beforeRequest", (event) => {
    if (event.target.matches("input.typed")) event.target.dataset.sent = event.target.value;
  });

  /* Move on once the answer is there, and only if there is nothing to ask about. */
  form.addEventListener("htmx:afterRequest", (event) => {
    const box = event.target;
    if (!box.matches("input.typed")) return;
    if (!event.detail.successful) delete box.dataset.sent;
    if (box.dataset.entered !== "yes") return;
    delete box.dataset.entered;
    if (!event.detail.successful) return;
    if (problemOf(box)) box.select();
    else if (document.activeElement === box) onward(box);
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
    box.dataset.sent = box.value;
    window.htmx.ajax("POST", box.getAttribute("hx-post"), {
      target: `#said-${code}`, swap: "innerHTML", values,
    }).then(() => { if (!problemOf(box)) onward(box); });
    box.focus();
  });

  const notKept = (event, words) => {
    const box = event.target;
    if (!box.matches("input.typed, select.with")) return;
    const code = box.name.slice(box.name.indexOf("-") + 1);
    const said = document.getElementById(`said-${code}`);
    const problem = document.createElement("p");
    problem.className = "problem";
    problem.id = `problem-${code}`;
    problem.textContent = words;
    said.replaceChildren(problem);
  };
  form.addEventListener("htmx:responseError", (event) => notKept(event, event.detail.xhr.status === 403
    ? "Not kept: you have signed in anew since this page was opened. Load the page again."
    : "Not kept: the server could not take it just now. Press Enter again."));
  form.addEventListener("htmx:sendError", (event) => notKept(event,
    "Not kept: the server cannot be reached. Is Carknocker still running? Then press Enter again."));

  /* A phone's number pad has neither a blank for the next repeat nor letters for a unit. */
  if (window.matchMedia("(pointer: coarse)").matches) {
    for (const box of boxes()) {
      const keys = document.createElement("span");
      keys.className = "keys";
      const key = (label, name, press) => {
        const button = document.createElement("button");
        button.type = "button";
        button.className = "quiet";
        button.textContent = label;
        button.setAttribute("aria-label", `${name} in ${box.labels[0].firstChild.textContent}`);
        button.addEventListener("click", () => { press(); box.focus(); });
        keys.append(button);
      };
      key("+", "another repeat", () => { box.value = `${box.value.trimEnd()} `; });
      key("abc", "letters", () => {
        box.inputMode = box.inputMode === "text" ? "decimal" : "text";
      });
      box.after(keys);
    }
  }

  form.addEventListener("htmx:afterSwap", () => {
    for (const box of boxes()) {
      const code = box.id.slice("typed-".length);
      box.setAttribute("aria-invalid", String(Boolean(document.getElementById(`problem-${code}`))));
    }
  });
})();

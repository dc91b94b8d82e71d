/* A form marked data-once is sent once: its buttons rest while the answer is on its way, and the
   words of the attribute stand where it says data-waiting. Without this script a second press
   reaches the server, which does nothing twice either. */
(() => {
  const resting = new Map();

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.matches("form[data-once]") || event.defaultPrevented) return;
    if (resting.has(form)) {
      event.preventDefault();
      return;
    }
    const told = form.querySelector("[data-waiting]");
    resting.set(form, told ? told.textContent : "");
    // After the browser has taken the form: a disabled button would not be sent along.
    setTimeout(() => {
      for (const button of form.querySelectorAll("button")) button.disabled = true;
      if (told) told.textContent = form.dataset.once;
    });
  });

  /* Back from the answer: the form may be sent anew. */
  window.addEventListener("pageshow", () => {
    for (const [form, words] of resting) {
      for (const button of form.querySelectorAll("button")) button.disabled = false;
      const told = form.querySelector("[data-waiting]");
      if (told) told.textContent = words;
    }
    resting.clear();
  });
})();

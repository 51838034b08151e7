// A role picked from a list is measured at once; the button is for those without scripts.
for (const form of document.querySelectorAll("[data-roles]")) {
  form.querySelector("[data-roles-button]").hidden = true;
  form.addEventListener("change", () => {
    const picked = [...form.querySelectorAll("select")].map((select) => select.value).filter(Boolean);
    // Two channels with one role are a swap halfway done.
    const settled = new Set(picked).size === picked.length && picked.includes("crank");
    if (settled) form.requestSubmit();
  });
}

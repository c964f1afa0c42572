// Parts of a page are built anew when the job changes. Whoever works by keyboard stays where they were: the
// button or field of the same name is taken up again, with what was being typed in it.
(() => {
  let last = null;
  const name = (element) => (element.getAttribute("aria-label") || element.labels?.[0]?.textContent || element.textContent || "").trim();
  document.addEventListener("focusin", (event) => { last = { element: event.target, name: name(event.target), was: event.target.value }; });
  document.addEventListener("focusout", (event) => {
    setTimeout(() => { if (last?.element === event.target && event.target.isConnected && document.activeElement === document.body) last = null; });
  });
  const takeUp = () => {
    if (!last || last.element.isConnected || document.activeElement !== document.body) return;
    for (const element of document.querySelectorAll(last.element.tagName)) {
      if (name(element) !== last.name) continue;
      const { element: old, was } = last;
      element.focus({ preventScroll: true });
      if (old.tagName === "INPUT" && old.type === "text" && old.value !== was) {
        element.value = old.value;
        element.dispatchEvent(new Event("input", { bubbles: true }));
      }
      return;
    }
    last = null;
  };
  document.addEventListener("DOMContentLoaded", () => new MutationObserver(takeUp).observe(document.body, { childList: true, subtree: true }));
})();

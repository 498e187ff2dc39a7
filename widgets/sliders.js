// Gives the handles of a panel's sliders names, which they lack: the slider's own label, and which end of a range it is.
function nameSliders(view, signal) {
  const name = (panel) => {
    for (const slider of panel.querySelectorAll(".widget-slider")) {
      const label = slider.querySelector(".widget-label")?.textContent ?? "";
      const handles = slider.querySelectorAll(".noUi-handle");
      handles.forEach((handle, place) => {
        const end = handles.length === 1 ? "" : place === 0 ? ", first" : ", last";
        if (handle.getAttribute("aria-label") !== label + end) handle.setAttribute("aria-label", label + end);
      });
    }
  };
  const watch = () => {
    const panel = view.closest(".neck-panel");
    if (!panel) return;
    const watcher = new MutationObserver(() => name(panel));
    watcher.observe(panel, { childList: true, subtree: true });
    signal.addEventListener("abort", () => watcher.disconnect());
    name(panel);
  };
  requestAnimationFrame(watch); // by then the view stands in its panel
}


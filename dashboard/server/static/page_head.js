// Run in the head of each page, before anything else is there.

// Without the address a page opened by its own path looks for the server below that path first, and fails.
window.__streamlit = {
  BACKEND_BASE_URL: location.origin,
  HOST_CONFIG_BASE_URL: location.origin,
  MAIN_PAGE_BASE_URL: location.origin,
};

// A page whose socket was closed asks whether its device is still admitted, and if not, reloads to say so.
window.WebSocket = class extends WebSocket {
  constructor(...about) {
    super(...about);
    this.addEventListener("close", () =>
      fetch("/_stcore/health").then(
        (answer) => {
          if ([401, 403].includes(answer.status)) location.reload();
        },
        () => {},
      ),
    );
  }
};

// A sheet has only the cells that are in sight. Where the one with the focus is taken away on a busy machine,
// nobody has the focus, and what is typed next is lost: the sheet itself takes it.
addEventListener("focusout", ({ target, relatedTarget }) => {
  const sheet = !relatedTarget && target.closest?.("canvas");
  if (!sheet) return;
  queueMicrotask(() => {
    if (!target.isConnected && sheet.isConnected && document.activeElement === document.body) sheet.focus();
  });
});

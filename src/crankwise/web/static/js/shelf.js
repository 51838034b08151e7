// A file to share can be dragged out of the page into a folder.
for (const link of document.querySelectorAll("[data-carry]")) {
  link.draggable = true;
  link.addEventListener("dragstart", (event) => {
    const { carry } = link.dataset;
    event.dataTransfer.setData("DownloadURL", `${carry}:${link.download}:${link.href}`);
    event.dataTransfer.setData("text/uri-list", link.href);
  });
}

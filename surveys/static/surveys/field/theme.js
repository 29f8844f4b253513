// Sets light or dark before anything is painted; without a choice of the person's the phone's own holds.

document.documentElement.dataset.theme = localStorage.getItem("theme") ?? "";

// Decides how long a refusal is kept: in this browser, over reloads and whoever comes next, until
// somebody has read it. What was refused may have been said on a page that is closed by now.

class Refusals {
  constructor(study) {
    this.name = `lastbite:${study}:refused`;
    this.all = keptItem("localStorage", this.name, []);
    window.addEventListener("storage", ({ key }) => {
      if (key === this.name) this.all = keptItem("localStorage", this.name, []);
    });
  }

  add({ act, who, words, about }, why) {
    const { placement = "" } = act;
    this.keep([...this.all, { id: act.id, who, words, about, placement, why }]);
  }

  read(id) {
    this.keep(this.all.filter((one) => one.id !== id));
  }

  keep(all) {
    this.all = all;
    keepItem("localStorage", this.name, all);
  }
}

// What was refused, and why; on the pages of others whose it was and of which placement.
function refusedWords({ who, words, about, placement, why }, person) {
  const mine = who === person.name;
  const name = who.split(":").slice(2).join(":") || "somebody";
  const where = [mine ? "" : placement, about?.name].filter(Boolean).map((one) => `${one}, `);
  return `Not kept${mine ? "" : `, of ${name}`}: ${where.join("")}${words}. ${why}`;
}

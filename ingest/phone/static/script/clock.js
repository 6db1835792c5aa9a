// Clock readings are those of the studio's zone, wherever the phone thinks it is.
const clock = new Intl.DateTimeFormat("en-GB", {
  timeZone: state.zone,
  year: "numeric",
  month: "2-digit",
  day: "2-digit",
  hour: "2-digit",
  minute: "2-digit",
  hourCycle: "h23",
});
const wallOf = (ms) => {
  const part = Object.fromEntries(clock.formatToParts(ms).map((one) => [one.type, one.value]));
  return `${part.year}-${part.month}-${part.day} ${part.hour}:${part.minute}`;
};
const instant = (ms) => `${new Date(ms).toISOString().slice(0, 19)}Z`;
const onClock = (wall) => Date.parse(wall.replace(" ", "T") + "Z") / 36e5;
const today = () => wallOf(now()).slice(0, 10);
const plusDays = (day, n) => new Date(Date.parse(`${day}T12:00Z`) + n * 864e5).toISOString().slice(0, 10);
const dayWords = (day) => {
  const far = Math.round((Date.parse(today()) - Date.parse(day)) / 864e5);
  const said = new Date(`${day}T12:00Z`).toLocaleDateString("en-GB", {
    timeZone: "UTC",
    weekday: "long",
    day: "numeric",
    month: "long",
  });
  return far === 0 ? `today, ${said}` : far === 1 ? `yesterday, ${said}` : said;
};
const clockWords = (ms) => {
  const day = dayWords(wallOf(ms).slice(0, 10))
    .replace(/^today.*/, "")
    .replace(/^(yesterday).*/, "$1")
    .replace(/^((?!yes)\w+day)/, "on $1");
  return `${wallOf(ms).slice(11)} ${day}`.trim();
};
const longWords = (ms) => {
  const minutes = Math.max(0, Math.round(ms / 6e4));
  if (minutes < 1) return "less than a minute";
  if (minutes < 60) return plural(minutes, "minute", "minutes");
  if (minutes < 48 * 60) return `${Math.floor(minutes / 60)} h${minutes % 60 ? ` ${minutes % 60} min` : ""}`;
  return plural(Math.round(minutes / 1440), "day", "days");
};
const hoursTyped = (text) => (/^[\d.,¼½¾]+$/.test(text) ? `${text} h` : text);
const spent = (hours) => (hours < 48 ? longWords(hours * 36e5) : `${Math.round(hours)} h`);

"""What a person sees: the screen with the settings, which a script fills and sends, and the one with the state."""

import about
import chip
import fields
import light

FRAME = (
    '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>%s</title>'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    "<style>body{font:18px/1.5 sans-serif;margin:1em auto;max-width:30em;padding:0 .6em}"
    "input,button{display:block;font:inherit;width:100%%;box-sizing:border-box}th{text-align:left}</style>"
    "</head><body><h1>%s</h1>%s</body></html>"
)

SCRIPT = """<script>
const form = document.querySelector("form"), told = document.querySelector("output"), place = "/api/config";
const boxes = [...form.querySelectorAll("input")];
fetch(place).then(answer => answer.json()).then(tree => boxes.forEach(box => {
  const [group, member] = box.name.split(".");
  if (member in (tree[group] || {})) box.value = tree[group][member];
}));
form.onsubmit = event => {
  event.preventDefault();
  const tree = {};
  boxes.forEach(box => {
    const [group, member] = box.name.split(".");
    (tree[group] = tree[group] || {})[member] = box.type == "number" ? Number(box.value) : box.value;
  });
  fetch(place, {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify(tree)})
    .then(answer => answer.json())
    .then(said => told.textContent = said.errors ? said.errors.join(" ") : "Saved. The sensor starts again.");
};
</script>"""


def safe(text):
    """Return text that is only text in HTML."""
    for sign, name in (("&", "amp"), ("<", "lt"), (">", "gt"), ('"', "quot"), ("'", "#39")):
        text = text.replace(sign, "&%s;" % name)
    return text


def config():
    """Return the screen with the settings; what is stored comes by its script."""
    rows = "".join(_box(field) for field in fields.FIELDS)
    form = '<form action="/api/config" method="post">%s<button>Save</button></form><output></output>' % rows
    return FRAME % ("Settings", "Rain sensor: settings", form + SCRIPT)


def _box(field):
    more = 'maxlength="%d"' % field.high
    kind = "text"
    if field.kind == fields.SECRET:
        kind, more = "password", more + ' placeholder="empty: as it is"'
    if field.kind == fields.NUMBER:
        kind, more = "number", 'min="%g" max="%g" step="any"' % (field.low, field.high)
    return '<label>%s <input type="%s" name="%s" %s></label>' % (safe(field.title), kind, field.name, more)


def state(sensor):
    """Return the screen with the state."""
    settings = sensor.memory.settings
    rain = "%.1f mm" % sensor.bucket.rain_mm(settings["bucket.mm_per_tip"])
    network = settings["wifi.ssid"] if sensor.stage == light.CONNECTED else ""
    rows = (
        ("Rain since the start", rain),
        ("Latest report", sensor.report),
        ("Firmware", about.VERSION),
        ("Made as", chip.serial()),
        ("Wi-Fi", network or "-"),
        ("IP", sensor.ip or "-"),
        ("Up", "%d s" % (chip.awake_ms() // 1000)),
    )
    cells = "".join("<tr><th>%s</th><td>%s</td></tr>" % (name, safe(text)) for name, text in rows)
    return FRAME % ("State", safe(settings["station.name"]), "<table>%s</table>" % cells)

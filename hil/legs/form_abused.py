"""The setup form under abuse: requests no browser sends, too many connections, connections that come to nothing."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

from hil.core.product import Product
from hil.core.stages import Setup
from hil.instruments.bench import Bench
from hil.instruments.pages import Answer
from hil.instruments.raw_connection import RawConnection
from hil.instruments.visits import Visitor
from hil.legs.door import hotspot_door
from hil.legs.leg import leg
from hil.legs.moves import give_up
from hil.page.encode import Entry
from hil.page.fill import find_control, find_form
from hil.page.hostile import HostileRequest, hostile_requests, plain_get, slow_body
from hil.page.page import Form, NotFound, Page
from hil.page.whole_form import rule_of

LISTEN_S = 6.0  # for the answer to one hostile request: longer than a server should wait for a body that does not come
SLOW_PAUSE_S = 0.5
IDLE_CONNECTIONS = (1, 2, 4)  # browsers open a few ahead of need; common practice, no source
AT_ONCE = 20
ABORTED = 20
MOST_SILENCES = 2  # one after another; then the unit counts as gone, and the leg ends
ABUSE_S = 10.0


@leg(
    begins=Setup(store="bench network"),
    ends=Setup(),
    expected_s=lambda _product: ABUSE_S,
    profile="release",
)
def form_abused(bench: Bench, product: Product) -> None:
    """Abuse the form's server: broken, oversized and odd requests, many and idle connections; then read the form again."""
    bench.access_point.down()
    door = hotspot_door(bench, product)
    if door is None:
        return
    target = _target(door.look("form before abuse"), product)
    if isinstance(target, NotFound):
        give_up(bench, f"the form cannot be abused: {target.reason}")
    else:
        _abuse(_Abuser(bench, door.visitor, door.url), *target)
        door.look("form after abuse")
    bench.probe.leave()


def _target(page: Page, product: Product) -> tuple[Form, Entry] | NotFound:
    """The form, and a control of it with another value than it shows."""
    settings = product.form.settings
    name = product.form.text_to_change or next(name for name, setting in settings.items() if not setting.secret)
    form = find_form(page, [rule_of(setting) for setting in settings.values()]) or find_form(
        page, [rule_of(settings[name])]
    )
    if isinstance(form, NotFound):
        return form
    control = find_control(page, rule_of(settings[name]))
    if isinstance(control, NotFound):
        return control
    return form, Entry(control.name, control.value[:-1] + ("x" if control.value.endswith("1") else "1"))


def _abuse(abuser: "_Abuser", form: Form, changed: Entry) -> None:
    """Everything, in order; the abuser itself leaves off once the unit is gone."""
    for request in hostile_requests(abuser.url, form, changed):
        abuser.send(request)
    abuser.send_slowly(form, changed)
    for count in IDLE_CONNECTIONS:
        abuser.stay_idle(count)
    abuser.connect_at_once(AT_ONCE)
    abuser.abort_loads(ABORTED)


class _Abuser:
    """Sends one thing after another, until the unit cannot be reached any more: then it books after what, and is idle."""

    def __init__(self, bench: Bench, visitor: Visitor, url: str) -> None:
        self.url = url
        self._bench = bench
        self._visitor = visitor
        self._silences = 0
        self._gone = False
        self._last_answered = "form before abuse"

    def send(self, request: HostileRequest) -> None:
        """Send one request, and hear what comes of it."""
        if self._gone:
            return
        with self._booked(request.url, request.purpose) as connection:
            connection.send(request.octets)
            if request.then == "end and listen":
                connection.end()
            if request.then != "hang up":
                connection.listen(self._bench.clock.real_s(LISTEN_S))

    def send_slowly(self, form: Form, changed: Entry) -> None:
        """Send a body that dribbles and never ends, and fetch the form meanwhile."""
        if self._gone:
            return
        with self._booked(form.action, "body sent slowly", may_wait=True) as connection:
            for piece in slow_body(form, changed):
                connection.send(piece)
                self._bench.clock.pause(SLOW_PAUSE_S)
            self._visitor.get(self.url, "form while a body comes slowly")
            connection.listen(self._bench.clock.real_s(LISTEN_S))

    def stay_idle(self, count: int) -> None:
        """Hold connections open that say nothing, and fetch the form meanwhile."""
        with ExitStack() as held:
            for number in range(1, count + 1):
                if self._gone:
                    return
                held.enter_context(self._booked(self.url, f"idle connection {number} of {count}"))
            self._visitor.get(self.url, f"form beside {count} idle")

    def connect_at_once(self, count: int) -> None:
        """Open connections, then ask for the form on all of them; and once more when they are over."""
        if self._gone:
            return
        with ExitStack() as held:
            opened: list[RawConnection] = []
            for number in range(1, count + 1):
                purpose = f"connection {number} of {count} at once"
                opened.append(held.enter_context(self._visitor.connection(self.url, purpose)))
                if opened[-1].answer().outcome == "silent":
                    break
            for connection in opened:
                connection.send(plain_get(self.url))
            self._hear_all(opened)
        self._get(f"form after {count} at once")

    def _hear_all(self, connections: list[RawConnection]) -> None:
        """Hear them all out, within the patience for one."""
        clock = self._bench.clock
        until_s = clock.now_s() + LISTEN_S
        for connection in connections:
            connection.listen(clock.real_s(max(until_s - clock.now_s(), 0.1)))

    def abort_loads(self, count: int) -> None:
        """Ask for the form and hang up before it comes, again and again; then fetch it."""
        for number in range(1, count + 1):
            self.send(HostileRequest(f"aborted load {number} of {count}", self.url, plain_get(self.url), "hang up"))
        if not self._gone:
            self._get(f"form after {count} aborted loads")

    def _get(self, purpose: str) -> None:
        self._note(self._visitor.get(self.url, purpose), purpose)

    @contextmanager
    def _booked(self, url: str, purpose: str, *, may_wait: bool = False) -> Iterator[RawConnection]:
        with self._visitor.connection(url, purpose) as connection:
            if not connection.reached:
                self._give_up(purpose)
            yield connection
        if not may_wait:
            self._note(connection.answer(), purpose)

    def _note(self, answer: Answer, purpose: str) -> None:
        """See whether the unit is still there; one request that it leaves waiting is no proof that it is not."""
        if answer.outcome == "answered":
            self._last_answered, self._silences = purpose, 0
        self._silences += answer.outcome == "silent"
        if self._silences >= MOST_SILENCES:
            self._give_up(purpose)

    def _give_up(self, purpose: str) -> None:
        if not self._gone:
            self._gone = True
            last = self._last_answered
            give_up(self._bench, f"the unit was not to be had any more at {purpose!r}; it answered last to {last!r}")

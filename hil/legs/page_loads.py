"""Page loads by the hundred, some of them aborted, with a look at the unit's free memory between."""

from dataclasses import dataclass
from itertools import cycle

from hil.core.product import Product
from hil.core.stages import Connected
from hil.instruments.bench import Bench
from hil.instruments.pages import Answer, Credentials
from hil.instruments.visits import Visitor
from hil.legs.leg import leg
from hil.legs.moves import give_up, unit_address, update_credentials, wait_connected
from hil.page.hostile import plain_get
from hil.page.loads import LoadKind, load_purpose

LOOKS = 3  # status pages fetched one after another at each look at the memory
LOADS_A_LOOK, ABORTED_A_LOOK = 8, 6
WARM_UP = 20  # loads, and half as many aborted ones: what is made once is made by then
MISSED_PAUSE_S = 1.0
RELEASE_S = 40.0  # for all the loads of the release profile
REST_S = 1.0
SETTLE_S = 0.3  # a server may still be busy with the end of a load that was aborted
DOWN_S = 4.0
REJOIN_S = 15.0  # as most units take it; no source
LOAD_S = 0.15  # as the loads of most units take it; no source
SOAK_ROUNDS = 10


@dataclass(frozen=True)
class Portion:
    """So many loads of a kind, within so much time."""

    kind: LoadKind
    count: int
    limit_s: float


RELEASE = (
    Portion("load", 80, 0.35 * RELEASE_S),
    Portion("aborted load", 60, 0.3 * RELEASE_S),
    Portion("load", 80, 0.35 * RELEASE_S),
)
"""Aborted loads between two stretches of others: what each kind costs can be told apart."""
SOAK = (Portion("load", 100, 120.0), Portion("aborted load", 20, 60.0), Portion("load", 100, 120.0))


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=lambda _product: RELEASE_S,
    profile="release",
)
def pages_many(bench: Bench, product: Product) -> None:
    """Load pages by the hundred, abort some loads, and look at the free memory in between."""
    loader = _begin(bench, product)
    if loader is None:
        return
    for portion in RELEASE:
        loader.run(portion)
    loader.look_last()


@leg(
    begins=Connected(store="bench network"),
    ends=Connected(),
    expected_s=lambda _product: SOAK_ROUNDS * (sum(portion.count for portion in SOAK) * LOAD_S + REJOIN_S),
    profile="soak",
)
def pages_soak(bench: Bench, product: Product) -> None:
    """Load pages two thousand times and abort two hundred loads; ten times the network goes and comes back between."""
    loader = _begin(bench, product)
    if loader is None:
        return
    for number in range(1, SOAK_ROUNDS + 1):
        for portion in SOAK:
            loader.run(portion)
        if loader.gone or not _rejoin(bench, product, number):
            return
        loader.look()
    loader.look_last()


def _begin(bench: Bench, product: Product) -> "_Loader | None":
    """Warm up; None where the unit's address is not known, and booked why."""
    bench.access_point.up(bench.network)
    address = unit_address(bench)
    if address is None:
        give_up(bench, "the unit's address on the bench's network is not known", bench.access_point.source)
        return None
    loader = _Loader(bench, product, address)
    loader.run(Portion("load", WARM_UP, RELEASE_S))
    loader.run(Portion("aborted load", WARM_UP // 2, RELEASE_S))
    bench.timeline.add("leg", "has warmed up")
    loader.look()
    return loader


def _rejoin(bench: Bench, product: Product, number: int) -> bool:
    """Have the network go and come back; whether the unit came back to it."""
    bench.timeline.add("leg", "rejoins", number=number)
    bench.access_point.down()
    bench.clock.pause(DOWN_S)
    mark = bench.timeline.mark()
    bench.access_point.up(bench.network)
    promise = product.limits.reconnects_s or product.limits.connected_s
    return wait_connected(bench, promise.patience_s, mark) is not None


class _Loader:
    """Loads one page after another, until the unit cannot be reached any more: then it books so, and is idle."""

    def __init__(self, bench: Bench, product: Product, address: str) -> None:
        self.gone = False
        self._bench = bench
        self._product = product
        self._host = f"http://{address}"
        self._pages = cycle(self._paths(update_credentials(bench, product)))
        self._numbers: dict[LoadKind, int] = {"load": 0, "aborted load": 0, "free memory": 0}
        self._answered_s = bench.clock.now_s()

    def _paths(self, auth: Credentials | None) -> list[tuple[str, Credentials | None]]:
        """The pages loaded by turns: what the unit shows when connected."""
        form = self._product.form.connected_path
        return [("/", None), (self._product.status.path, None), *([(form, auth)] if form is not None else [])]

    @property
    def _visitor(self) -> Visitor:
        return self._bench.visits.at(self._bench.access_point.lease_of_bench())

    def run(self, portion: Portion) -> None:
        """Do a portion, with a look at the memory now and then, for as long as there is time and the unit is there."""
        until_s = self._bench.clock.now_s() + portion.limit_s
        a_look = LOADS_A_LOOK if portion.kind == "load" else ABORTED_A_LOOK
        for done in range(1, portion.count + 1):
            if self.gone or self._bench.clock.now_s() > until_s:
                return
            if portion.kind == "load":
                self._load(*next(self._pages), self._purpose("load"))
            else:
                self._abort(self._purpose("aborted load"), whole=done % 2 == 0)
            if done % a_look == 0:
                self.look()

    def look(self) -> None:
        """Fetch the status page, which states the free memory, some times one after another."""
        if self._product.status.free_memory is None:
            return
        self._bench.clock.pause(SETTLE_S)
        purpose = self._purpose("free memory")
        for _ in range(LOOKS):
            if not self.gone:
                self._load(self._product.status.path, None, purpose)

    def look_last(self) -> None:
        """Look twice more after a moment of rest: what answers had been lent is given back by then."""
        for _ in range(2):
            self._bench.clock.pause(REST_S)
            self.look()

    def _purpose(self, kind: LoadKind) -> str:
        self._numbers[kind] += 1
        return load_purpose(kind, self._numbers[kind])

    def _load(self, path: str, auth: Credentials | None, purpose: str) -> None:
        self._note(self._visitor.get(self._host + path, purpose, auth=auth))

    def _abort(self, purpose: str, *, whole: bool) -> None:
        """Ask for the status page, all of the question or half of it, and hang up."""
        url = self._host + self._product.status.path
        question = plain_get(url)
        with self._visitor.connection(url, purpose) as connection:
            connection.send(question if whole else question[: len(question) // 2])

    def _note(self, answer: Answer) -> None:
        """See whether the unit is still there; one that restarts may come back."""
        clock = self._bench.clock
        if answer.outcome == "answered":
            self._answered_s = clock.now_s()
            return
        if clock.now_s() - self._answered_s > self._product.limits.connected_s.patience_s:
            self.gone = True
            give_up(self._bench, f"no page was answered any more: {answer.outcome}")
        else:
            clock.pause(MISSED_PAUSE_S)

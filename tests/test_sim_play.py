"""Event expressions, time, conditions and waveforms."""

from __future__ import annotations

import io
import tracemalloc
from collections.abc import Iterable
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.plans import blinker_plan, counter_circuit, counter_plan, make_plan
from vcd.reader import TokenKind, tokenize

from hdl2grid.base.errors import DesignFailed, InputError
from hdl2grid.plan.model import Device
from hdl2grid.sim.events import Events, Repeat, folded, parse_events
from hdl2grid.sim.named_words import words
from hdl2grid.sim.player import Happened, Player
from hdl2grid.sim.pulse_network import Network, network_from_circuit, network_from_plan
from hdl2grid.sim.until import parse_condition, play_until
from hdl2grid.sim.waveform import Waveform

NAMES = ("sync", "reset", "hold", "word[0]")


@pytest.mark.parametrize(
    "text,events",
    [
        ("sync", ["sync"]),
        ("sync*3 reset", ["sync"] * 3 + ["reset"]),
        ("sync *2, reset\n(hold sync * 2)*2", ["sync", "sync", "reset", *["hold", "sync", "sync"] * 2]),
        ("((sync*2)*2 reset)", ["sync"] * 4 + ["reset"]),
        ("word[0]*1(hold)", ["word[0]", "hold"]),
        ("wait", ["wait"]),
    ],
)
def test_expressions(text: str, events: list[str]) -> None:
    parsed = parse_events(text, NAMES)
    assert list(parsed) == events
    assert len(parsed) == len(events)


@pytest.mark.parametrize(
    "text,code,says",
    [
        ("", "V002", "no event"),
        ("  ,", "V002", "no event"),
        ("(", "V002", "never closed"),
        ("sync)", "V002", "never opened"),
        ("()", "V002", "nothing between"),
        ("*3", "V002", "follows a name"),
        ("sync*", "V002", "count"),
        ("sync*x", "V002", "count"),
        ("sync*-1", "V002", "count"),
        ("sync*1.5", "V002", "count"),
        ("sync*0", "V002", "count"),
        ("sync**2", "V002", "count"),
        ("sync*2*2", "V002", "follows a name"),
        ("sync*²", "V002", "count"),
        ("synk", "V001", "Did you mean 'sync'?"),
        ("word", "V001", "'word[0]'"),
        ("sync*1000000000000", "V003", "1,000,000,000"),
        ("sync*" + "9" * 5000, "V003", "1,000,000,000"),
        ("(((((sync*1000)*1000)*1000)*1000)*1000)*1000", "V003", "1,000,000,000"),
        ("sync*999999999 reset*2", "V003", "1,000,000,000"),
        ("(" * 10_000 + "sync" + ")" * 10_000, "V002", "deeper than 32"),
        ("sync " * 30_000, "V003", "100000 characters"),
    ],
)
def test_malformed_expressions(text: str, code: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_events(text, NAMES)
    assert caught.value.code == code and says in str(caught.value)
    assert len(str(caught.value)) < 400


def test_the_place_of_a_mistake_is_told() -> None:
    with pytest.raises(InputError, match=r"column 8, near 'sync\*2 \)'"):
        parse_events("sync*2 )", NAMES)


def test_a_machine_without_sources_is_told_apart() -> None:
    with pytest.raises(InputError, match="has no source"):
        parse_events("sync", ())


def test_repeats_cost_no_memory() -> None:
    tracemalloc.start()
    events = parse_events("((sync*1000 hold)*1000)*900", NAMES)
    walk = iter(events)
    for _ in range(5000):
        next(walk)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(events) == 900_900_000 and events.names() == ("sync", "hold")
    assert peak < 200_000


parts = st.recursive(
    st.builds(Repeat, st.sampled_from(NAMES), st.integers(1, 4)),
    lambda inner: st.builds(Repeat, st.lists(inner, min_size=1, max_size=3).map(tuple), st.integers(1, 3)),
    max_leaves=6,
)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.lists(parts, min_size=1, max_size=4))
def test_written_and_read_again(built: list[Repeat]) -> None:
    def written(part: Repeat) -> str:
        body = part.body if isinstance(part.body, str) else "(" + " ".join(map(written, part.body)) + ")"
        return f"{body}*{part.times}" if part.times > 1 else body

    def flat(part: Repeat) -> list[str]:
        body = [part.body] if isinstance(part.body, str) else [name for p in part.body for name in flat(p)]
        return body * part.times

    events = parse_events(" ".join(map(written, built)), NAMES)
    assert list(events) == [name for part in built for name in flat(part)]
    assert len(events) == len(list(events))
    assert list(parse_events(folded(events), NAMES)) == list(events)


def test_chunks_are_the_events_as_numbers() -> None:
    chunks = list(Events((Repeat("a", 5), Repeat("b", 3))).chunks({"a": 0, "b": 7}, size=6))
    assert [chunk.tolist() for chunk in chunks] == [[0, 0, 0, 0, 0, 7], [7, 7]]


@pytest.mark.parametrize("watched", [False, True])
def test_named_ticks_take_their_period(watched: bool) -> None:
    seen: list[Happened] = []
    player = Player(network_from_plan(blinker_plan()), on_wave=seen.append if watched else None)
    player.play(parse_events("go sync*3 reset sync", player.network.events))
    assert player.now == Fraction(2)
    assert player.shown() == {"q": 0} and player.levels() == {"q": 0}
    assert player.num_waves == 6 and not player.lost
    if watched:
        assert [(float(h.time_s), h.event) for h in seen] == [
            (0, "go"), (0.5, "sync"), (1, "sync"), (1.5, "sync"), (1.5, "reset"), (2, "sync"),
        ]  # fmt: skip


def test_both_ways_of_playing_agree() -> None:
    circuit = network_from_circuit(counter_circuit())
    events = parse_events("sync*1000", circuit.events)
    at_once, one_by_one = Player(circuit), Player(circuit, engine="plain")
    at_once.play(events)
    one_by_one.play(list(events))
    assert at_once.engine.state() == one_by_one.engine.state()
    assert (at_once.now, at_once.num_pulses, at_once.longest) == (one_by_one.now, one_by_one.num_pulses, 3)


def two_tickers() -> Player:
    plan = make_plan(
        "two",
        (4, 2),
        [
            Device("ticker", 0, 0, name="fast", period_s=0.1, running=True),
            Device("ticker", 0, 1, name="slow", period_s=0.25, running=True),
            Device("pixel", 3, 0, lit=False, signal="f"),
            Device("pixel", 3, 1, lit=False, signal="s"),
        ],
        [],
        black=[(0, 0, 3, 0)],
        orange=[(0, 1, 3, 1)],
    )
    return Player(network_from_plan(plan), on_wave=SEEN.append)


SEEN: list[Happened] = []


def test_wait_lets_all_tickers_tick() -> None:
    SEEN.clear()
    player = two_tickers()
    player.event("wait")
    times = [(h.time_s, h.event) for h in SEEN]
    assert player.now == 1
    assert times == sorted(
        [(Fraction(i, 10), "fast") for i in range(1, 11)] + [(Fraction(i, 4), "slow") for i in range(1, 5)]
    )


def test_named_ticks_hold_other_tickers_and_wait_goes_on_in_time() -> None:
    SEEN.clear()
    player = two_tickers()
    player.play(["slow"] * 3)
    assert [h.event for h in SEEN] == ["slow"] * 3 and player.now == Fraction(3, 4)
    SEEN.clear()
    player.event("wait")
    assert [h.time_s for h in SEEN if h.event == "fast"] == [Fraction(i, 10) for i in range(8, 18)]
    assert [h.time_s for h in SEEN if h.event == "slow"] == [Fraction(i, 4) for i in range(4, 8)]


def delay_plan(to: tuple[int, int] = (4, 0), seconds: float = 1.5) -> Player:
    plan = make_plan(
        "delayed",
        (6, 2),
        [
            Device("button", 0, 0, name="b"),
            Device("delay", 1, 0, to=to, seconds=seconds),
            Device("pixel", 5, 0, lit=False, signal="p"),
        ],
        [],
        black=[(0, 0, 1, 0), (4, 0, 5, 0)],
    )
    return Player(network_from_plan(plan))


def test_a_delay_starts_a_wave_later() -> None:
    player = delay_plan()
    player.event("b")
    player.event("wait")
    assert player.shown() == {"p": 0}
    player.event("b")
    player.event("wait")
    assert player.shown() == {"p": 1}, "the first press has come through"
    player.event("wait")
    assert player.shown() == {"p": 0}, "and the second"


def test_delays_that_never_end_are_an_error() -> None:
    plan = make_plan(
        "ring",
        (4, 1),
        [Device("button", 0, 0, name="b"), Device("delay", 1, 0, to=(3, 0), seconds=0.000001)],
        [],
        black=[(0, 0, 3, 0)],
    )
    player = Player(network_from_plan(plan))
    player.event("b")
    with pytest.raises(DesignFailed) as caught:
        player.event("wait")
    assert caught.value.code == "V004"


def test_words() -> None:
    assert words(["a[0]", "pm", "a[1]", "b[1]", "c.x[0]"]) == {
        "a": ("a[0]", "a[1]"),
        "pm": ("pm",),
        "b[1]": ("b[1]",),
        "c.x": ("c.x[0]",),
    }
    assert words(["a", "a[0]"]) == {"a": ("a",), "a[0]": ("a[0]",)}


@pytest.mark.parametrize(
    "text,events",
    [("q=2", 2), ("q=0b11", 3), ("q[1]", 2), ("q[0]!=0 q[1]=1", 3), ("both", 3), ("q=0", 0), ("count=3, both", 3)],
)
def test_play_until(text: str, events: int) -> None:
    net = network_from_plan(counter_plan())
    condition = parse_condition(text, [d.signal for d in (*net.pixels, *net.probes)])
    reached = play_until(Player(net), parse_events("sync", net.events), condition)
    assert (reached.held, reached.events) == (True, events)


def test_play_until_meets_its_limit() -> None:
    net = network_from_plan(counter_plan())
    condition = parse_condition("both q=0", ["both", "q[0]", "q[1]"])
    reached = play_until(Player(net), parse_events("sync*7", net.events), condition, limit=100)
    assert (reached.held, reached.events) == (False, 100)


@pytest.mark.parametrize(
    "text,code",
    [("", "V005"), ("q=", "V005"), ("q==1", "V005"), ("q=-1", "V005"), ("=1", "V005"), ("qq", "V006"), ("q=4", "V006"),
     ("both=2", "V006"), ("q[2]", "V006"), ("q=" + "9" * 301, "V005")],
)  # fmt: skip
def test_bad_conditions(text: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_condition(text, ["q[0]", "q[1]", "both"])
    assert caught.value.code == code


def play_with_waveform(network: Network, events: Iterable[str], file: io.StringIO) -> Player:
    waveform = Waveform(file, network)
    player = Player(network, on_wave=lambda happened: waveform.wave(happened, player))
    waveform.start(player)
    player.play(events)
    waveform.close()
    return player


def test_waveform_is_read_back_by_another_reader() -> None:
    """With pyvcd's own tokenizer: the changes of the counter's word at whole seconds."""
    file = io.StringIO()
    play_with_waveform(network_from_plan(counter_plan()), ["sync"] * 5, file)
    tokens = list(tokenize(io.BytesIO(file.getvalue().encode())))
    variables = {t.var.id_code: t.var.reference for t in tokens if t.kind is TokenKind.VAR}
    scopes = [t.scope.ident for t in tokens if t.kind is TokenKind.SCOPE]
    assert set(scopes) == {"panel", "signals", "sources", "events", "lost"}
    time, changes = 0, []
    for token in tokens:
        if token.kind is TokenKind.CHANGE_TIME:
            time = token.time_change
        elif token.kind is TokenKind.CHANGE_VECTOR and variables[token.vector_change.id_code] == "count":
            changes.append((time, token.vector_change.value))
    assert changes == [(0, 0), (1_000_000, 1), (2_000_000, 2), (3_000_000, 3), (4_000_000, 0), (5_000_000, 1)]


def test_waveform_with_switches_presses_and_odd_names() -> None:
    plan = blinker_plan()
    file = io.StringIO()
    network = network_from_plan(plan)
    player = play_with_waveform(network, parse_events("go sync reset go", network.events), file)
    text = file.getvalue()
    assert player.num_waves == 4
    assert "$var wire 1" in text and "#500000\n" in text and "#500001\n" in text and "#500002\n" in text
    assert "date" not in text.partition("$timescale")[0].lower().replace("$date  $end", "")

"""Work that was stopped goes on with the same numbers; what changed is never taken for the same."""

from __future__ import annotations

import numpy as np
import pytest
from rivers import VARY, StopAt, few_at_a_time, fold_numbers, plain, river

from pva.decide.explore import explore
from pva.decide.sensitivity import sensitivity
from pva.decide.stock import stock
from pva.model.assemble import assemble
from pva.results import tasks
from pva.results.chunks import chunks_of, fold_chunk
from pva.results.run import fold_run, places_of, run, with_runs
from pva.results.tasks import Tasks, task_name


def run_it(scenario, *, replicates=None, **how):
    """The folded run, without the matrix analysis of the data set, which is the same every time."""
    resolved = with_runs(scenario.resolved, replicates=replicates)
    model = assemble(resolved, seed=resolved.runs.seed)
    return fold_run(resolved, model, places_of(resolved, 8.0), seed=resolved.runs.seed, threads=1,
                    keep=30, paired=7, **how)


def explore_it(scenario, **how):
    return explore(scenario, VARY, threads=1, **how)


def sensitivity_it(scenario, **how):
    return sensitivity(scenario, threads=1, **how)


def stock_it(scenario, **how):
    return stock(scenario, shorter_duty=True, threads=1, **how)


COMMANDS = [run_it, explore_it, sensitivity_it, stock_it]


@pytest.mark.parametrize("answer", COMMANDS)
def test_stopped_again_and_again_the_answer_is_the_same(answer, tmp_path, monkeypatch):
    few_at_a_time(monkeypatch, 20)
    scenario = river()
    whole = plain(answer(scenario))
    luck = np.random.default_rng(20260721)
    stops = done = 0
    for _ in range(40):
        with Tasks(keep=tmp_path) as some:
            try:
                stop = StopAt(done + int(luck.integers(2, 6)))
                found = answer(scenario, tasks=some, progress=stop)
            except KeyboardInterrupt:
                assert some.reused == done and some.finished > done
                stops, done = stops + 1, len(some.kept)
                assert done > some.reused
                continue
        break
    assert plain(found) == whole
    assert stops >= 2 and some.reused == done > 3
    with Tasks(keep=tmp_path) as again:
        assert plain(answer(scenario, tasks=again)) == whole
    assert again.reused == again.total == len(again.kept)


@pytest.mark.parametrize("answer", COMMANDS)
def test_damaged_parts_are_computed_again(answer, tmp_path, monkeypatch):
    few_at_a_time(monkeypatch, 20)
    with Tasks(keep=tmp_path) as first:
        whole = plain(answer(river(), tasks=first))
    files = sorted(tmp_path.iterdir())
    files[0].write_bytes(b"")
    content = bytearray(files[1].read_bytes())
    content[len(content) // 2] ^= 4
    files[1].write_bytes(content)
    files[2].replace(files[3])  # the part of another task
    with Tasks(keep=tmp_path) as again:
        assert plain(answer(river(), tasks=again)) == whole
    assert again.kept.damaged == 3 and again.reused == again.total - 4
    assert len(again.kept) == again.total


CHANGES = {
    "another seed": {"runs": {"draws": 9, "replicates": 12, "seed": 6}},
    "another rate": {"survival": {"young": {"value": 0.61, "se": 0.05}, "adult": {
        "value": 0.9, "se": 0.02, "year_sd": 0.03}}},
    "another doubt": {"recruitment": {"per_adult": {"value": 0.3, "se": 0.051}}},
    "more draws": {"runs": {"draws": 10, "replicates": 12, "seed": 5}},
    "another threshold": {"quasi_extinction": {"adults_below": 25}},
    "another goal": {"goals": [{"name": "many", "measure": "adults", "at_least": 45, "in": 2036}]},
    "one year more": {"years": {"first": 2026, "last": 2037}},
}


@pytest.mark.parametrize("change", CHANGES)
@pytest.mark.parametrize("answer", [run_it, explore_it])
def test_nothing_is_used_again_after_a_change(answer, change, tmp_path, monkeypatch):
    few_at_a_time(monkeypatch, 40)
    with Tasks(keep=tmp_path) as first:
        before = plain(answer(river(), tasks=first))
    changed = river(**CHANGES[change])
    with Tasks(keep=tmp_path) as second:
        after = plain(answer(changed, tasks=second))
    assert second.reused == 0 and second.total > 2
    assert after == plain(answer(changed)) != before


def test_a_data_set_from_kept_chunks_is_the_same_data_set(tmp_path, monkeypatch):
    few_at_a_time(monkeypatch, 40)
    whole = plain(run(river(), threads=1))
    for reused in (0, 3):
        with Tasks(keep=tmp_path) as some:
            assert plain(run(river(), threads=1, tasks=some)) == whole
        assert (some.reused, some.total) == (reused, 3)


def test_a_wider_grid_computes_only_its_new_points(tmp_path):
    with Tasks(keep=tmp_path) as first:
        explore(river(), {"number": [0, 20]}, threads=1, tasks=first)
    wider = {"number": [0, 10, 20, 30]}
    with Tasks(keep=tmp_path) as second:
        found = explore(river(), wider, threads=1, tasks=second)
    assert (second.reused, second.total) == (2, 4)
    assert plain(found) == plain(explore(river(), wider, threads=1))


def test_replicates_added_later_use_the_finished_chunks(tmp_path, monkeypatch):
    few_at_a_time(monkeypatch, 40)  # chunks of four replicates of nine draws
    scenario = river()
    with Tasks(keep=tmp_path) as first:
        run_it(scenario, tasks=first, replicates=10)
    with Tasks(keep=tmp_path) as second:
        found = run_it(scenario, tasks=second, replicates=30)
    assert (first.total, second.total, second.reused) == (3, 8, 2)  # the third was a half one
    assert plain(found) == plain(run_it(scenario, replicates=30))


def test_other_code_or_other_random_numbers_make_other_tasks(monkeypatch):
    task = (river().resolved, 3, 5)
    name = task_name(fold_chunk, task)
    assert name == task_name(fold_chunk, (river().resolved, 3, 5))
    assert name != task_name(chunks_of, task)
    with monkeypatch.context() as changed:
        changed.setattr(tasks, "SCHEME", "another scheme")
        assert name != task_name(fold_chunk, task)
    with monkeypatch.context() as changed:
        changed.setattr(tasks, "code_digest", lambda: "another version")
        assert name != task_name(fold_chunk, task)


def test_code_of_the_page_and_the_commands_does_not_count_but_the_engine_does(
        tmp_path, monkeypatch):
    package = tmp_path / "pva"
    for name in ("engine/kernel.py", "cli/runs.py", "report/page.py", "errors.py"):
        (package / name).parent.mkdir(parents=True, exist_ok=True)
        (package / name).write_text("1")
    (package / "__init__.py").write_text("")
    monkeypatch.setattr(tasks.pva, "__file__", str(package / "__init__.py"))
    digest = tasks.code_digest.__wrapped__
    before = digest()
    (package / "cli/runs.py").write_text("2")
    (package / "report/page.py").write_text("2")
    assert digest() == before
    (package / "engine/kernel.py").write_text("2")
    assert digest() != before


def fold_of(resolved, **how):
    model = assemble(resolved, seed=3)
    return fold_run(resolved, model, places_of(resolved, 8.0), seed=3, keep=30,
                    paired=min(7, resolved.runs.replicates), **how)


def assert_same_fold(one, other, *, exactly: bool):
    one, other = fold_numbers(one), fold_numbers(other)
    assert list(one) == list(other)
    for name, values in one.items():
        if name in ("sums", "_totals") and not exactly:  # fractions, summed in another order
            np.testing.assert_allclose(values, other[name], rtol=1e-12)
        else:
            assert np.array_equal(values, other[name]), name


@pytest.mark.parametrize(("draws", "replicates"), [(9, 30), (1, 300), (40, 3)])
def test_chunks_hold_what_one_fold_holds(draws, replicates, monkeypatch):
    """Every number of a fold: one that is added to `Fold` and not to the chunks fails here."""
    resolved = with_runs(river().resolved, draws=draws, replicates=replicates)
    assert len(chunks_of(resolved)) == 1
    whole = fold_of(resolved, threads=2)
    for trajectories in (100, 17, 4):
        few_at_a_time(monkeypatch, trajectories)
        assert len(chunks_of(resolved)) > 1
        one, two = (fold_of(resolved, threads=t) for t in (1, 2))
        assert_same_fold(whole, one, exactly=False)
        assert_same_fold(one, two, exactly=True)


@pytest.mark.parametrize(("draws", "replicates"), [(1, 1), (1, 64), (3, 50), (64, 7), (200, 50)])
def test_chunks_hold_every_replicate_once_and_end_where_they_always_end(draws, replicates,
                                                                        monkeypatch):
    few_at_a_time(monkeypatch, 40)
    resolved = with_runs(river().resolved, draws=draws, replicates=replicates)
    found = chunks_of(resolved)
    times = np.zeros((draws, replicates), dtype=int)
    for chunk in found:
        times[slice(*chunk.draws), slice(*chunk.replicates)] += 1
    assert (times == 1).all()
    more = set(chunks_of(with_runs(resolved, replicates=4 * replicates)))
    whole = [c for c in found if c.replicates[1] < replicates]
    assert set(whole) <= more


def test_a_folder_that_cannot_be_written_does_not_stop_the_work(tmp_path):
    (tmp_path / "kept").write_text("mine")
    with Tasks(keep=tmp_path / "kept") as some:
        found = explore(river(), {"number": [0, 20]}, threads=1, tasks=some)
    assert plain(found) == plain(explore(river(), {"number": [0, 20]}, threads=1))
    assert "in each other's way" in some.trouble


def test_kept_parts_are_no_part_of_the_answer(tmp_path):
    """The number to stock is searched in the same looks whoever does them."""
    with Tasks(keep=tmp_path) as some:
        assert plain(stock(river(), threads=1, tasks=some)) == plain(stock(river(), threads=1))
    assert some.finished == some.total > 5

"""What waits for the disk and what does not, seen by a fake fsync (our own format: no outside source)."""

import os
from pathlib import Path

from titrator.record.journal import Journal


def synced(monkeypatch, order):
    fsync = os.fsync

    def noted(handle):
        order.append("folder" if Path(f"/proc/self/fd/{handle}").is_dir() else "file")
        fsync(handle)

    monkeypatch.setattr(os, "fsync", noted)


def test_a_new_journal_makes_its_name_durable(tmp_path, monkeypatch):
    order = []
    synced(monkeypatch, order)
    Journal(tmp_path / "journal.jsonl", sync=True).close()
    assert order[0] == "folder"


def test_durable_lines_wait_for_the_disk_and_others_do_not(tmp_path, monkeypatch):
    journal = Journal(tmp_path / "journal.jsonl", sync=True)
    order = []
    synced(monkeypatch, order)
    journal.write("state", 0.0, {"state": "dosing"})
    assert order == []
    journal.write("intent", 0.0, {"dose": 1}, durable=True)
    assert order == ["file"]
    journal.close()


def test_without_sync_nothing_waits(tmp_path, monkeypatch):
    order = []
    synced(monkeypatch, order)
    journal = Journal(tmp_path / "journal.jsonl", sync=False)
    journal.write("intent", 0.0, {"dose": 1}, durable=True)
    journal.close()
    assert order == []

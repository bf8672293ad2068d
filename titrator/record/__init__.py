"""The record of a run: an append-only journal and the folder it lies in. Raw data are never changed afterwards."""

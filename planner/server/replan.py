"""A new plan as a process of its own, one at a time; what it says is kept to be shown."""

import os
import subprocess
import threading
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

_MOST_LINES = 200
_LONGEST = 400
_PATIENCE_S = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """What the last planning said, and its exit status; None while it runs or none was begun."""

    begun: bool
    running: bool
    lines: tuple[str, ...]
    status: int | None


class Replan:
    """Runs the command that plans; safe to be asked by many threads.

    Parameters
    ----------
    command
        Program and arguments; what it prints, on either stream, is its progress.
    """

    def __init__(self, command: Sequence[str]) -> None:
        self._command = tuple(command)
        self._lock = threading.Lock()
        self._process: subprocess.Popen[str] | None = None
        self._reader: threading.Thread | None = None
        self._lines: deque[str] = deque(maxlen=_MOST_LINES)
        self._stopped = False

    def start(self) -> bool:
        """Begin, unless one is running or the server ends; return whether one was begun."""
        with self._lock:
            if self._stopped or self._is_running():
                return False
            self._join()
            self._lines.clear()
            try:
                self._process = subprocess.Popen(
                    self._command,
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.STDOUT,
                    text=True,
                    encoding="utf-8",
                    errors="replace",
                    env={**os.environ, "PYTHONUNBUFFERED": "1", "PYTHONIOENCODING": "utf-8"},
                    start_new_session=True,  # Ctrl-C at the server's terminal is not for it
                )
            except OSError as fault:
                self._process = None
                self._lines.append(f"The planning cannot be started ({fault.strerror or fault}).")
                return False
            self._reader = threading.Thread(target=self._read, args=(self._process,), daemon=True)
            self._reader.start()
            return True

    def progress(self) -> Progress:
        """Return what the planning under way, or the last one, has said."""
        with self._lock:
            running, process = self._is_running(), self._process
            return Progress(
                begun=process is not None or bool(self._lines),
                running=running,
                lines=tuple(self._lines),
                status=process.returncode if process is not None and not running else None,
            )

    def stop(self) -> None:
        """End the planning under way, if any, and start no other; leaves no process behind."""
        with self._lock:
            self._stopped = True
            process = self._process
            if process is not None and process.poll() is None:
                process.terminate()
                try:
                    process.wait(_PATIENCE_S)
                except subprocess.TimeoutExpired:
                    process.kill()
                    process.wait()
            self._join()

    def _is_running(self) -> bool:
        """Whether the process lives or has said something that is not read yet."""
        if self._process is None:
            return False
        return self._process.poll() is None or (
            self._reader is not None and self._reader.is_alive()
        )

    def _join(self) -> None:
        if self._reader is not None:
            self._reader.join(_PATIENCE_S)
            self._reader = None

    def _read(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        with process.stdout as said:
            for line in said:
                if text := line.rstrip()[:_LONGEST]:
                    self._lines.append(text)
        process.wait()

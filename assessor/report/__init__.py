"""Assessments for people and for programs: text and JSON; pure, nothing is written."""

from __future__ import annotations

from assessor.report.compare import read_result
from assessor.report.result import FORMAT, VERSION, result, tool_version
from assessor.report.text import terminal

__all__ = ["FORMAT", "VERSION", "read_result", "result", "terminal", "tool_version"]

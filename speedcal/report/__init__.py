"""Plots and the one-page report, as HTML and PDF, from one model."""

from speedcal.report.facts import DriveFacts, ReportFacts
from speedcal.report.figures import comparison_picture
from speedcal.report.html import render_html
from speedcal.report.model import ReportModel, build_model
from speedcal.report.page import render_pdf
from speedcal.report.sheet import Paper

__all__ = [
    "DriveFacts",
    "Paper",
    "ReportFacts",
    "ReportModel",
    "build_model",
    "comparison_picture",
    "render_html",
    "render_pdf",
]

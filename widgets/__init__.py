"""Widgets of the course: the neck you click, and one small panel a chapter. They compute nothing; `harmonylib` does.

The one exception is the listener, whose ear works in the browser.

Import names from here (`from widgets import NeckView`): many people write ``import ipywidgets as widgets``.
"""

from widgets.answer import AnswerBox
from widgets.chapter_panel import panel
from widgets.desk import AnswerPanel, ArrangementPanel
from widgets.form import TuneForm
from widgets.listener import Listener, listen_to_cycle, listen_to_phrase, listener, tuner
from widgets.neck import NeckView
from widgets.panels import DiminishedPanel, InversionPanel, MelodyPanel, SpreadPanel
from widgets.player import Player

__all__ = [
    "AnswerBox",
    "AnswerPanel",
    "ArrangementPanel",
    "DiminishedPanel",
    "InversionPanel",
    "Listener",
    "MelodyPanel",
    "NeckView",
    "Player",
    "SpreadPanel",
    "TuneForm",
    "panel",
    "listen_to_cycle",
    "listen_to_phrase",
    "listener",
    "tuner",
]

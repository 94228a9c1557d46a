package gritbook.shell.screens

import gritbook.shell.frame.Frame
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.screens.call.CallScreen
import gritbook.shell.screens.changeout.ChangeOutScreen
import gritbook.shell.screens.check.CheckScreen
import gritbook.shell.screens.check.RulerScreen
import gritbook.shell.screens.enrol.EnrolScreen
import gritbook.shell.screens.grade.GradeScreen
import gritbook.shell.screens.home.HomeScreen
import gritbook.shell.screens.outbox.OutboxScreen
import gritbook.shell.screens.pump.PumpFormScreen
import gritbook.shell.screens.pump.PumpScreen
import gritbook.shell.screens.settings.SettingsScreen

/** The screen that stands at a place. A place of a newer or older program leads home. */
fun screenAt(place: Place, frame: Frame): Screen = when (place.screen) {
    "add_pump", "edit_pump" -> PumpFormScreen(place, frame)
    "pump" -> PumpScreen(place, frame)
    "check" -> CheckScreen(place, frame)
    "grade" -> GradeScreen(place, frame)
    "outbox" -> OutboxScreen(place, frame)
    "ruler" -> RulerScreen(place, frame)
    "call" -> CallScreen(place, frame)
    "change" -> ChangeOutScreen(place, frame)
    "settings" -> SettingsScreen(place, frame)
    "enrol" -> EnrolScreen(place, frame)
    else -> HomeScreen(place, frame)
}

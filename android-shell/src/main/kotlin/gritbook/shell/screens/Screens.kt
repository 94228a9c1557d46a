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
import gritbook.shell.screens.grade.OutlineScreen
import gritbook.shell.screens.grade.WearPlace
import gritbook.shell.screens.grade.WearScreen
import gritbook.shell.screens.home.HomeScreen
import gritbook.shell.screens.measure.BoreScreen
import gritbook.shell.screens.outbox.OutboxScreen
import gritbook.shell.screens.pump.PumpFormScreen
import gritbook.shell.screens.pump.PumpScreen
import gritbook.shell.screens.settings.SettingsScreen
import gritbook.shell.screens.track.TrackScreen
import gritbook.shell.screens.why.WhyScreen

/** Every screen by the name of its place. */
val SCREENS: Map<String, (Place, Frame) -> Screen> = mapOf(
    "home" to ::HomeScreen,
    "add_pump" to ::PumpFormScreen,
    "edit_pump" to ::PumpFormScreen,
    "pump" to ::PumpScreen,
    "check" to ::CheckScreen,
    "grade" to ::GradeScreen,
    WearPlace.SCREEN to { place, frame -> WearPlace.of(place)?.let { WearScreen(place, it, frame) } ?: HomeScreen(place, frame) },
    OutlineScreen.SCREEN to { place, frame -> WearPlace.of(place)?.let { OutlineScreen(place, it, frame) } ?: HomeScreen(place, frame) },
    BoreScreen.SCREEN to ::BoreScreen,
    "outbox" to ::OutboxScreen,
    "ruler" to ::RulerScreen,
    "call" to ::CallScreen,
    "why" to ::WhyScreen,
    "track" to ::TrackScreen,
    "change" to ::ChangeOutScreen,
    "settings" to ::SettingsScreen,
    "enrol" to ::EnrolScreen,
)

/** The screen that stands at a place. A place of a newer or older program leads home. */
fun screenAt(place: Place, frame: Frame): Screen = (SCREENS[place.screen] ?: ::HomeScreen)(place, frame)

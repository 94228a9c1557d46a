package gritbook.shell.screens.pump

import gritbook.core.BoxFluid
import gritbook.core.DriveSide
import gritbook.core.PumpSpec
import gritbook.core.SealVariant
import gritbook.shell.R
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Field
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.key

/** A new pump's name and figures. */
class AddPumpScreen(at: Place, frame: Frame) : Screen(at, frame) {
    override fun build() = Page(context, word(R.string.pump_add_title), frame.prefs.now.leftHand, frame::leave).apply {
        put(Field(context, word(R.string.pump_name), R.id.pump_name, false, draft.text("name")) { draft.put("name", it) }.root)
        foot(context.key(word(R.string.pump_save), main = true, id = R.id.save, act = ::save))
    }

    private fun save() {
        val spec = PumpSpec(
            name = draft.text("name"), boreMm = 200.0, strokeMm = 2100.0, driveBoreMm = 130.0, driveRodMm = 80.0,
            driveSide = DriveSide.ROD, seal = SealVariant.GUIDE_BAND, fluid = BoxFluid.WATER,
        )
        ask(work = { it.addPump(spec, Clock.now()) }) {
            frame.trail.forget(at)
            frame.leave()
        }
    }
}

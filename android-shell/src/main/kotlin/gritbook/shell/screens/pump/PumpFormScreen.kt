package gritbook.shell.screens.pump

import android.widget.Button
import android.widget.LinearLayout
import gritbook.core.BoxFluid
import gritbook.core.DriveSide
import gritbook.core.PourMade
import gritbook.core.PumpSpec
import gritbook.core.Quantity
import gritbook.core.SealVariant
import gritbook.core.SpeedControl
import gritbook.core.TestSwitches
import gritbook.core.assumedPump
import gritbook.shell.R
import gritbook.shell.carry.Sending
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Field
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.chosen
import gritbook.shell.frame.dp
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.note
import gritbook.shell.frame.words

/** A pump's name and figures: a new one, of which the name is enough, or one of the book. */
class PumpFormScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private val known = at.about.ifEmpty { null }
    private lateinit var form: LinearLayout
    private var saving = false

    override fun build() = Page(context, word(if (known == null) R.string.pump_add_title else R.string.pump_edit_title), frame.prefs.now.leftHand, frame::leave).apply {
        form = put(LinearLayout(context).apply { orientation = LinearLayout.VERTICAL })
        foot(context.key(word(R.string.pump_save), main = true, id = R.id.save, act = ::save))
    }

    override fun arrived() {
        if (draft.json.has("seal")) return show()
        val id = known
        if (id == null) away(work = { assumedPump("") }) { fill(it) } else ask(work = { it.pumpSummary(id).spec }) { fill(it) }
    }

    private fun fill(spec: PumpSpec) {
        draft.edit {
            put("name", draft.text("name").ifEmpty { spec.name })
            put("bore", figures.typed(Quantity.LENGTH, spec.boreMm))
            put("stroke", figures.typed(Quantity.LENGTH, spec.strokeMm))
            put("drive_bore", figures.typed(Quantity.LENGTH, spec.driveBoreMm))
            put("drive_rod", figures.typed(Quantity.LENGTH, spec.driveRodMm))
            put("side", spec.driveSide.name)
            put("seal", spec.seal.name)
            put("fluid", spec.fluid.name)
            put("switches", spec.testSwitches.name)
            put("speed", spec.speedControl.name)
        }
        show()
    }

    private fun show() {
        form.removeAllViews()
        val millimetres = figures.unit(Quantity.LENGTH)
        if (!frame.prefs.now.personSet) put(Field(context, word(R.string.pump_person), R.id.person, false, draft.text("person")) { draft.put("person", it) }.root)
        field("name", word(R.string.pump_name), R.id.pump_name, number = false)
        if (known == null) field("total", word(R.string.pump_total_now, figures.unit(Quantity.CONCRETE)), R.id.total)
        put(context.note(word(R.string.pump_rest)))
        choice("seal", R.string.pump_seal, SealVariant.GUIDE_BAND.name to R.string.pump_guide_band, SealVariant.O_RING.name to R.string.pump_o_ring)
        choice("fluid", R.string.pump_fluid, BoxFluid.WATER.name to R.string.pump_water, BoxFluid.OIL.name to R.string.pump_oil)
        choice("switches", R.string.pump_switches, TestSwitches.ONE.name to R.string.pump_one, TestSwitches.TWO.name to R.string.pump_two)
        choice("speed", R.string.pump_speed, SpeedControl.VALVE.name to R.string.pump_valve, SpeedControl.ELECTRIC.name to R.string.pump_electric)
        choice("side", R.string.pump_side, DriveSide.ROD.name to R.string.pump_rod_side, DriveSide.PISTON.name to R.string.pump_piston_side)
        field("bore", word(R.string.pump_bore, millimetres), R.id.bore)
        field("stroke", word(R.string.pump_stroke, millimetres), R.id.stroke)
        field("drive_bore", word(R.string.pump_drive_bore, millimetres), R.id.drive_bore)
        field("drive_rod", word(R.string.pump_drive_rod, millimetres), R.id.drive_rod)
    }

    private fun put(view: android.view.View) =
        form.addView(view, LinearLayout.LayoutParams(LinearLayout.LayoutParams.MATCH_PARENT, LinearLayout.LayoutParams.WRAP_CONTENT).apply { topMargin = context.dp(12) })

    private fun field(key: String, label: CharSequence, id: Int, number: Boolean = true) =
        put(Field(context, label, id, number, draft.text(key)) { draft.put(key, it) }.root)

    private fun choice(key: String, label: Int, vararg of: Pair<String, Int>) {
        put(context.words(word(label)))
        val keys = mutableListOf<Button>()
        of.forEach { (name, text) ->
            val made = context.key(word(text)) {
                draft.put(key, name)
                keys.forEachIndexed { index, button -> button.chosen(of[index].first == name) }
            }
            made.tag = "$key.$name"
            keys += made.apply { chosen(draft.text(key) == name) }
        }
        put(context.keyRow(*keys.toTypedArray()))
    }

    private fun save() {
        if (saving) return
        val made = try {
            val length = { key: String -> figures.parse(Quantity.LENGTH, draft.text(key)) }
            PumpSpec(
                name = draft.text("name"), boreMm = length("bore"), strokeMm = length("stroke"),
                driveBoreMm = length("drive_bore"), driveRodMm = length("drive_rod"),
                driveSide = draft.choice<DriveSide>("side")!!, seal = draft.choice<SealVariant>("seal")!!,
                fluid = draft.choice<BoxFluid>("fluid")!!, testSwitches = draft.choice<TestSwitches>("switches")!!,
                speedControl = draft.choice<SpeedControl>("speed")!!,
            ) to draft.text("total").takeIf { it.isNotBlank() }?.let { figures.parse(Quantity.CONCRETE, it) }
        } catch (refused: gritbook.core.FieldBookException) {
            return page.tell(Trouble.of(refused))
        }
        val (spec, totalM3) = made
        val person = draft.text("person").trim()
        saving = true
        ask(failed = { saving = false; page.tell(Trouble.of(it)) }, work = { book ->
            if (person.isNotEmpty()) book.setPerson(person)
            val now = Clock.now()
            val id = known?.also { book.setPump(it, spec, now) } ?: book.addPump(spec, now)
            if (totalM3 != null) book.poured(id, PourMade(null, totalM3, null, null), now)
        }) {
            if (person.isNotEmpty()) frame.prefs.edit { put("person", person) }
            frame.trail.forget(at)
            Sending.soon(context)
            frame.leave()
        }
    }
}

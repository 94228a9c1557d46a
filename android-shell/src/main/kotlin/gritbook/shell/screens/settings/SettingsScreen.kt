package gritbook.shell.screens.settings

import android.view.View
import android.widget.Button
import android.widget.LinearLayout
import gritbook.core.Costs
import gritbook.core.FieldBookException
import gritbook.core.LevelLimits
import gritbook.core.Quantity
import gritbook.core.UnitSystem
import gritbook.core.assumedCosts
import gritbook.core.checkBar
import gritbook.core.checkLevelLimits
import gritbook.core.trueBarMm
import gritbook.core.usualLevelLimits
import gritbook.shell.R
import gritbook.shell.frame.Field
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.Settings
import gritbook.shell.frame.Trouble
import gritbook.shell.frame.chosen
import gritbook.shell.frame.dp
import gritbook.shell.frame.heading
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.note
import gritbook.shell.frame.words

/** Who holds the phone, in which units, at what costs, and where it sends to. Language and day or night follow the phone. */
class SettingsScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private lateinit var form: LinearLayout

    override fun build() = Page(context, word(R.string.settings_title), frame.prefs.now.leftHand, frame::leave).apply {
        form = put(LinearLayout(context).apply { orientation = LinearLayout.VERTICAL })
        foot(context.key(word(R.string.settings_save), main = true, id = R.id.save, act = ::save))
    }

    override fun arrived() {
        if (draft.json.has("units") && draft.json.has("bar")) return show()
        away(work = {
            val now = frame.prefs.now
            Triple(now.costs ?: assumedCosts(), now.limits ?: usualLevelLimits(), now.barMm ?: trueBarMm())
        }) { (costs, limits, barMm) ->
            val now = frame.prefs.now
            put(limits)
            draft.edit {
                put("person", if (now.personSet) now.person else "")
                put("units", now.system.name)
                put("hand", if (now.leftHand) LEFT else RIGHT)
                put("currency", costs.currency)
                put("planned_change", plain(costs.plannedChange))
                put("failure_mid_pour", plain(costs.failureMidPour))
                put("watch", plain(costs.watch))
                put("watch_saves", plain(costs.watchSaves * 100))
                put("lasting_limit", plain(costs.lastingLimit * 100))
                put("bar", size(barMm))
            }
            show()
        }
    }

    private fun put(limits: LevelLimits) = draft.edit {
        put("sand_from", size(limits.sandFromMm))
        put("some_sand_cover", plain(limits.someSandCoverPercent))
        put("sand_cover", plain(limits.sandCoverPercent))
        put("lump", size(limits.lumpMm))
        put("coarse_grain", size(limits.coarseGrainMm))
    }

    private fun size(mm: Double) = figures.typed(Quantity.GRAIN_SIZE, mm)

    /** What stands in the fields; throws the book's refusal of what is no figure. */
    private fun typedLimits(): LevelLimits {
        fun size(key: String) = figures.parse(Quantity.GRAIN_SIZE, draft.text(key))
        return LevelLimits(size("sand_from"), number("some_sand_cover"), number("sand_cover"), size("lump"), size("coarse_grain"))
    }

    private fun plain(value: Double) = figures.number(value, 2).trimEnd('0').trimEnd('.', ',')

    private fun show() {
        val now = frame.prefs.now
        form.removeAllViews()
        field("person", R.string.settings_person, R.id.person, number = false)
        choice("units", R.string.settings_units, UnitSystem.METRIC.name to R.string.settings_metric, UnitSystem.INCH.name to R.string.settings_inch)
        choice("hand", R.string.settings_hand, RIGHT to R.string.settings_right, LEFT to R.string.settings_left)
        put(context.heading(word(R.string.settings_costs)))
        put(context.note(word(R.string.settings_costs_note)))
        field("currency", R.string.settings_currency, R.id.currency, number = false)
        field("planned_change", R.string.settings_planned, R.id.planned_change)
        field("failure_mid_pour", R.string.settings_failure, R.id.failure_mid_pour)
        field("watch", R.string.settings_watch, R.id.watch)
        field("watch_saves", R.string.settings_watch_saves, R.id.watch_saves)
        field("lasting_limit", R.string.settings_lasting, R.id.lasting_limit)
        put(context.heading(word(R.string.settings_limits)))
        put(context.note(word(R.string.settings_limits_note)))
        val mm = figures.unit(Quantity.GRAIN_SIZE)
        field("sand_from", R.string.settings_sand_from, R.id.sand_from, unit = mm)
        field("some_sand_cover", R.string.settings_some_sand_cover, R.id.some_sand_cover)
        field("sand_cover", R.string.settings_sand_cover, R.id.sand_cover)
        field("lump", R.string.settings_lump, R.id.lump, unit = mm)
        field("coarse_grain", R.string.settings_coarse_grain, R.id.coarse_grain, unit = mm)
        put(context.key(word(R.string.settings_usual_limits), id = R.id.usual_limits) { away(work = { usualLevelLimits() }) { put(it); show() } })
        put(context.heading(word(R.string.settings_card)))
        put(context.note(word(R.string.settings_card_note)))
        field("bar", R.string.settings_bar, R.id.bar, unit = mm)
        put(context.heading(word(R.string.settings_depot)))
        put(context.words(now.depotUrl ?: word(R.string.settings_no_depot)))
        put(context.key(word(R.string.settings_enrol), id = R.id.enrol) { frame.go(Place("enrol")) })
    }

    private fun put(view: View) =
        form.addView(view, LinearLayout.LayoutParams(LinearLayout.LayoutParams.MATCH_PARENT, LinearLayout.LayoutParams.WRAP_CONTENT).apply { topMargin = context.dp(12) })

    private fun field(key: String, label: Int, id: Int, number: Boolean = true, unit: String? = null) =
        put(Field(context, if (unit == null) word(label) else word(label, unit), id, number, draft.text(key)) { draft.put(key, it) }.root)

    private fun choice(key: String, label: Int, vararg of: Pair<String, Int>) {
        put(context.words(word(label)))
        val keys = mutableListOf<Button>()
        of.forEach { (name, text) ->
            keys += context.key(word(text)) {
                draft.put(key, name)
                keys.forEachIndexed { index, button -> button.chosen(of[index].first == name) }
            }.apply { tag = "$key.$name"; chosen(draft.text(key) == name) }
        }
        put(context.keyRow(*keys.toTypedArray()))
    }

    private fun number(key: String): Double = draft.text(key).trim().replace(',', '.').toDoubleOrNull() ?: throw NotANumber(draft.text(key))

    private class NotANumber(val text: String) : Exception()

    private fun save() {
        val costs = try {
            Costs(
                draft.text("currency"), number("planned_change"), number("failure_mid_pour"), number("watch"),
                number("watch_saves") / 100, number("lasting_limit") / 100,
            )
        } catch (bad: NotANumber) {
            return page.say(word(R.string.settings_no_number, bad.text))
        }
        val (limits, barMm) = try {
            typedLimits() to figures.parse(Quantity.GRAIN_SIZE, draft.text("bar"))
        } catch (bad: NotANumber) {
            return page.say(word(R.string.settings_no_number, bad.text))
        } catch (refused: FieldBookException) {
            return page.tell(Trouble.of(refused))
        }
        val person = draft.text("person").trim()
        // The book says whether a name and limits can stand in it, before anything is kept.
        ask(work = {
            checkLevelLimits(limits)
            checkBar(barMm)
            if (person.isNotEmpty()) it.setPerson(person)
            limits.takeIf { own -> own != usualLevelLimits() } to barMm.takeIf { own -> own != trueBarMm() }
        }) { (own, ownBarMm) ->
            val hand = draft.text("hand") == LEFT
            val units = draft.text("units")
            frame.prefs.edit {
                put("person", person)
                put("units", units)
                put("left_hand", hand)
                put("costs", Settings.json(costs))
                put("limits", own?.let { Settings.json(it) })
                put("bar_mm", ownBarMm)
            }
            frame.trail.forget(at)
            frame.leave()
        }
    }

    private companion object {
        const val LEFT = "left"
        const val RIGHT = "right"
    }
}

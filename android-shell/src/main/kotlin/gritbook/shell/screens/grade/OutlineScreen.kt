package gritbook.shell.screens.grade

import gritbook.shell.R
import gritbook.shell.carry.Pictures
import gritbook.shell.carry.Shots
import gritbook.shell.frame.Draft
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.PassingScreen
import gritbook.shell.frame.Place
import gritbook.shell.frame.dp
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.words
import gritbook.shell.look.photo.OutlinePhotoView
import gritbook.shell.screens.check.Grades
import gritbook.shell.screens.check.WearShots
import org.json.JSONArray

/** Where the surface is in the photo: bare metal has no colour to be found by. A finger goes round it once. */
class OutlineScreen(at: Place, private val wear: WearPlace, frame: Frame) : PassingScreen(at, frame) {
    private val into: Draft get() = frame.trail.draft(if (wear.within) Place("check", wear.pump) else wear.grading)

    /** The shot that was seen when this was asked for; the newest where that is gone. */
    private val shot get() = WearShots.of(into, Grades.key(wear.part, wear.cup)).let { all -> draft.textOrNull("shot")?.takeIf { it in all } ?: all.lastOrNull() }
    private lateinit var seen: OutlinePhotoView

    override fun build() = Page(context, PartList.name(context, wear.part, wear.cup), frame.prefs.now.leftHand, ::leave).apply {
        seen = put(OutlinePhotoView(context).apply { id = R.id.seen; isSaveFromParentEnabled = false })
        seen.layoutParams.height = context.dp(if (context.resources.displayMetrics.run { heightPixels < widthPixels }) 190 else 300)
        seen.onOutline = { corners -> draft.put("outline", JSONArray(corners.map { it.toDouble() })) }
        put(context.words(word(R.string.outline_how)))
        // One row: the photo needs the height.
        foot(context.keyRow(
            context.key(word(R.string.outline_all), id = R.id.outline_all) { seen.allOfIt() },
            context.key(word(R.string.outline_use), main = true, id = R.id.save, act = ::use),
        ))
    }

    private fun corners(): List<Double> = draft.json.optJSONArray("outline")?.let { array -> List(array.length()) { array.getDouble(it) } }.orEmpty()

    override fun arrived() {
        val name = shot ?: return frame.leave()
        val before = corners().ifEmpty { Outlines.of(into, name).orEmpty() }
        away(work = { Pictures.read(Shots.file(context, name)) }) {
            seen.show(it.bitmap, it.fullWidth, it.fullHeight)
            seen.put(before.map(Double::toFloat))
        }
    }

    private fun use() {
        val (name, corners) = (shot ?: return) to seen.outlinePx.map { it.toDouble() }
        if (corners.isEmpty()) return page.say(word(R.string.outline_first))
        Outlines.set(into, name, corners)
        leave()
    }

    companion object {
        const val SCREEN = "outline"
    }
}

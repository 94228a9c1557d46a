package gritbook.shell.screens.check

import android.content.Context
import gritbook.core.DebrisReading
import gritbook.core.HandScale
import gritbook.core.LevelLimits
import gritbook.core.ReadingException
import gritbook.core.ReadingFacts
import gritbook.core.ReadingOptions
import gritbook.shell.carry.Picture
import gritbook.shell.carry.Pictures
import gritbook.shell.carry.Shots
import gritbook.shell.frame.Desk
import gritbook.shell.frame.Trouble

/** Looks at one photo: its picture for the screen, and its reading, each as soon as it is there. Main thread only. */
class Eye(private val context: Context, private val desk: Desk, private val limits: LevelLimits?, private val barMm: Double?, private val changed: () -> Unit) {
    var name: String? = null
        private set
    var picture: Picture? = null
        private set
    var reading: DebrisReading? = null
        private set
    var facts: ReadingFacts? = null
        private set
    var outlines: List<List<Double>> = emptyList()
        private set
    /** Why the photo gives no reading. */
    var refusal: Trouble? = null
        private set
    var failure: Trouble? = null
        private set
    var busy = false
        private set
    private var closed = false

    private class Seen(val reading: DebrisReading, val facts: ReadingFacts, val outlines: List<List<Double>>)

    fun look(at: String?, hand: HandScale?) {
        forget()
        name = at
        if (at == null) return changed()
        busy = true
        val file = Shots.file(context, at)
        desk.away(work = { Pictures.read(file) }) { result ->
            if (closed || name != at) return@away
            picture = result.getOrNull()
            changed()
        }
        desk.away(Desk.Lane.EYE, work = {
            val made = DebrisReading.ofPhoto(file.path, ReadingOptions(outlines = true, hand = hand, limits = limits, barMm = barMm))
            Seen(made, made.facts(), made.outlinesPx())
        }) { result ->
            if (closed || name != at) {
                result.getOrNull()?.reading?.close()
                return@away
            }
            busy = false
            result.fold({
                reading = it.reading
                facts = it.facts
                outlines = it.outlines
            }, { error ->
                val trouble = Trouble.of(error)
                if (error is ReadingException.NotRead) refusal = trouble else failure = trouble
            })
            changed()
        }
    }

    private fun forget() {
        reading?.close()
        reading = null
        picture = null
        facts = null
        outlines = emptyList()
        refusal = null
        failure = null
        busy = false
    }

    fun close() {
        closed = true
        forget()
    }
}

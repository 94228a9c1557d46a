package gritbook.shell.screens.home

import android.view.View
import android.widget.LinearLayout
import gritbook.core.PumpSummary
import gritbook.shell.R
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.heading
import gritbook.shell.frame.key
import gritbook.shell.frame.note
import gritbook.shell.frame.words

/** The pumps of this phone. */
class HomeScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private lateinit var list: LinearLayout

    override fun build() = Page(context, word(R.string.home_title), frame.prefs.now.leftHand, back = null).apply {
        list = put(LinearLayout(context).apply { orientation = LinearLayout.VERTICAL; id = R.id.pumps })
        foot(context.key(word(R.string.home_add_pump), id = R.id.add_pump) { frame.go(Place("add_pump")) })
    }

    override fun arrived() = ask(work = { it.pumps() }) { pumps ->
        list.removeAllViews()
        if (pumps.isEmpty()) {
            list.addView(context.heading(word(R.string.home_empty)))
            list.addView(context.words(word(R.string.home_empty_advice)))
        }
        pumps.forEach { list.addView(row(it)) }
    }

    private fun row(pump: PumpSummary): View = LinearLayout(context).apply {
        orientation = LinearLayout.VERTICAL
        addView(context.heading(pump.spec.name))
        if (pump.lastCheck == null) addView(context.note(word(R.string.home_never_checked)))
    }
}

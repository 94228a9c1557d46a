package gritbook.shell.look

import android.content.Context
import android.view.View
import android.view.accessibility.AccessibilityNodeInfo
import android.widget.Button
import android.widget.RadioButton

/** One answer out of a few, as slips side by side; the chosen one is filled. TalkBack hears radio buttons. */
class ChoiceRow(context: Context, private val slips: List<Button>, private val choose: (Int) -> Unit) : FlowRow(context) {
    /** Which one is chosen; null for none yet. Setting it tells nobody. */
    var chosen: Int? = null
        set(value) {
            field = value
            slips.forEachIndexed { at, slip -> slip.isSelected = at == value }
        }

    init {
        slips.forEachIndexed { at, slip ->
            slip.accessibilityDelegate = RadioVoice
            slip.setOnClickListener {
                if (chosen != at) {
                    chosen = at
                    choose(at)
                }
            }
            addView(slip)
        }
    }

    private object RadioVoice : AccessibilityDelegate() {
        override fun onInitializeAccessibilityNodeInfo(host: View, info: AccessibilityNodeInfo) {
            super.onInitializeAccessibilityNodeInfo(host, info)
            info.className = RadioButton::class.java.name
            info.isCheckable = true
            info.isChecked = host.isSelected
        }
    }
}

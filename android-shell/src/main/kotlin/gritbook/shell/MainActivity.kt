package gritbook.shell

import android.app.Activity
import android.content.Intent
import android.os.Bundle
import android.view.View
import android.widget.FrameLayout
import gritbook.shell.frame.Desk
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Place
import gritbook.shell.frame.Prefs
import gritbook.shell.frame.Screen
import gritbook.shell.frame.Trail
import gritbook.shell.screens.screenAt

/** The one Activity: shows the screen on top of the trail and carries results of other activities to it. */
class MainActivity : Activity(), Frame {
    private val app get() = application as App
    override val activity: Activity get() = this
    override val desk: Desk get() = app.desk
    override val prefs: Prefs get() = app.prefs
    override val trail: Trail get() = app.trail
    private lateinit var ground: FrameLayout

    /** The screen that is seen; null until the trail was read. */
    var screen: Screen? = null
        private set

    override fun onCreate(savedInstanceState: Bundle?) {
        super.onCreate(savedInstanceState)
        // Screens keep what they hold themselves, on the disk: a saved view tree would only contradict it.
        ground = FrameLayout(this).apply {
            id = R.id.ground
            setBackgroundColor(getColor(R.color.paper))
            isSaveFromParentEnabled = false
        }
        lightBars()
        setContentView(ground)
        app.whenRestored { if (!isDestroyed) show() }
        app.unkept = { cannot -> screen?.unkept(cannot) }
    }

    /** Dark signs in the system's bars by day; at night the theme's are light already. */
    @Suppress("DEPRECATION")
    private fun lightBars() {
        val night = resources.configuration.uiMode and android.content.res.Configuration.UI_MODE_NIGHT_MASK == android.content.res.Configuration.UI_MODE_NIGHT_YES
        if (!night) ground.systemUiVisibility = View.SYSTEM_UI_FLAG_LIGHT_STATUS_BAR or View.SYSTEM_UI_FLAG_LIGHT_NAVIGATION_BAR
    }

    private fun show() {
        screen?.close()
        ground.removeAllViews()
        val next = screenAt(trail.top, this)
        screen = next
        ground.addView(next.open(), FrameLayout.LayoutParams(FrameLayout.LayoutParams.MATCH_PARENT, FrameLayout.LayoutParams.MATCH_PARENT))
    }

    override fun go(place: Place) {
        trail.push(place)
        show()
    }

    override fun instead(place: Place) {
        trail.replaceTop(place)
        show()
    }

    override fun leave() {
        if (trail.pop()) show() else finish()
    }

    override fun home() {
        while (trail.pop()) Unit
        show()
    }

    override fun again() = show()

    @Deprecated("the platform's newer way exists from API 33 on only")
    override fun onBackPressed() {
        if (screen?.back() != true) leave()
    }

    @Deprecated("the only way that the framework itself has")
    override fun onActivityResult(requestCode: Int, resultCode: Int, data: Intent?) {
        super.onActivityResult(requestCode, resultCode, data)
        // After a process death the answer comes before the trail was read.
        app.whenRestored { screen?.result(requestCode, resultCode, data) }
    }

    override fun onDestroy() {
        screen?.close()
        screen = null
        app.unkept = {}
        super.onDestroy()
    }
}

package gritbook.shell.frame

import android.os.Build
import org.json.JSONObject
import java.util.concurrent.CountDownLatch

/** What the person set, as it stands in one small file. */
data class Settings(
    val person: String,
    val personSet: Boolean,
    val deviceName: String,
    val depotUrl: String?,
    val token: String?,
    val units: String?,
    val leftHand: Boolean,
) {
    companion object {
        fun of(json: JSONObject): Settings {
            val model = Build.MODEL?.takeIf { it.isNotBlank() } ?: "phone"
            fun text(key: String) = json.optString(key).takeIf { it.isNotBlank() }
            return Settings(
                person = text("person") ?: model,
                personSet = text("person") != null,
                deviceName = text("device") ?: model,
                depotUrl = text("depot"),
                token = text("token"),
                units = text("units"),
                leftHand = json.optBoolean("left_hand"),
            )
        }
    }
}

/** Holds the settings; readable from any thread once they were read from the disk. */
class Prefs(private val pen: Pen) {
    private val read = CountDownLatch(1)

    @Volatile
    private var json = JSONObject()

    @Volatile
    var now: Settings = Settings.of(JSONObject())
        private set

    /** From the pen's thread, once. */
    fun loaded(text: String?) {
        take(text?.let { runCatching { JSONObject(it) }.getOrNull() } ?: JSONObject())
        read.countDown()
    }

    private fun take(found: JSONObject) {
        json = found
        now = Settings.of(found)
    }

    /** Away from the main thread: waits until the file was read. */
    fun await(): Settings {
        Desk.notOnMain()
        read.await()
        return now
    }

    fun edit(change: JSONObject.() -> Unit) {
        take(JSONObject(json.toString()).apply(change))
        pen.write(FILE, json.toString())
    }

    companion object {
        const val FILE = "settings.json"
    }
}

package gritbook.shell

import android.app.Activity
import android.provider.MediaStore
import com.sun.jna.Function
import java.io.File
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.Shadows.shadowOf
import org.robolectric.annotation.Config

/**
 * From the camera's answer to the level on the screen with a photo of 12 megapixels: how long, how much work of the processor, how much memory.
 *
 * Memory is told from both sides: before each photo the heap is collected, and what the C library holds free is given back to the system, so that
 * most of what the reading takes has to be taken anew and shows in the process. What the heap still held free could be used unseen: with it, the
 * figure is more than what was taken. Both are printed; the greater must stay within 200 MB.
 *
 * The work of the processor, all threads together, hardly depends on how busy the machine is, and on a quiet one the wait is not longer. With
 * the phone's library it must stay below a second; a debug library on a busy machine may take what it takes.
 */
@RunWith(RobolectricTestRunner::class)
@Config(sdk = [34])
class SpeedTest {
    @get:Rule
    val bench = Bench()

    private val phone = System.getProperty("gritbook.profile") == "phone"

    private class Cost(val seconds: Double, val workSeconds: Double, val grewMb: Long, val unseenMb: Long)

    private fun statusMb(field: String) =
        File("/proc/self/status").readLines().first { it.startsWith(field) }.filter { it.isDigit() }.toLong() / 1024

    /** Time of the processor that this process took so far: proc(5), stat, fields 14 and 15 in ticks of 10 ms. */
    private fun workSeconds() = File("/proc/self/stat").readText().substringAfterLast(") ").split(" ").let { it[11].toLong() + it[12].toLong() } / 100.0

    /** Gives back what is free; what is left of it in the heap, MB. */
    private fun giveBack(): Long {
        repeat(3) { System.gc() }
        Function.getFunction("c", "malloc_trim").invokeInt(arrayOf(0L))
        // Sets the highest resident size back (proc(5)).
        File("/proc/self/clear_refs").writeText("5")
        return Runtime.getRuntime().freeMemory() / 1024 / 1024
    }

    private fun read(photo: File): Cost {
        bench.activity.home()
        bench.settle()
        bench.app.trail.forget(gritbook.shell.frame.Place("check", gritbook.core.pumpIdNamed("Otter")))
        bench.touch(bench.checkKey("Otter"))
        val asked = shadowOf(bench.activity as Activity).nextStartedActivityForResult
        @Suppress("DEPRECATION")
        val target = asked.intent.getParcelableExtra<android.net.Uri>(MediaStore.EXTRA_OUTPUT)!!
        photo.inputStream().use { from -> bench.activity.contentResolver.openOutputStream(target, "w")!!.use { from.copyTo(it) } }
        val free = giveBack()
        val (before, work, start) = Triple(statusMb("VmRSS"), workSeconds(), System.nanoTime())
        shadowOf(bench.activity as Activity).receiveResult(asked.intent, Activity.RESULT_OK, null)
        bench.settle()
        val cost = Cost((System.nanoTime() - start) / 1e9, workSeconds() - work, statusMb("VmHWM") - before, free)
        assertTrue(bench.texts(), "Sand" in bench.texts())
        return cost
    }

    @Test
    fun photoOf12MegapixelsThenItsLevelStandsSoon() {
        bench.start()
        bench.pump("Otter")
        val photo = Photos.demo("sand")
        val costs = (0..5).map { read(photo) }
        costs.forEachIndexed { at, cost ->
            val which = if (at == 0) "first photo of the process" else "photo ${at + 1}"
            println("$which: %.2f s to the level on the screen, %.2f s of the processor's work, between %d and %d MB".format(cost.seconds, cost.workSeconds, cost.grewMb, cost.grewMb + cost.unseenMb))
        }
        assertTrue("MB: ${costs.map { it.grewMb + it.unseenMb }}", costs.all { it.grewMb + it.unseenMb <= 200 })
        assertTrue("s: ${costs.map { it.seconds }}", costs.drop(1).minOf { it.seconds } < 20)
        if (phone) assertTrue("s of work: ${costs.map { it.workSeconds }}", costs.drop(1).minOf { it.workSeconds } <= 1.0)
    }
}
